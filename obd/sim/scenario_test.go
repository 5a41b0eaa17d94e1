package sim

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/link"
)

// Every scenario opens, says what it is in one line, and has an adapter that answers.
func TestScenarios(t *testing.T) {
	seen := map[string]bool{}
	for _, s := range Scenarios() {
		t.Run(s.Name, func(t *testing.T) {
			require.False(t, seen[s.Name], "twice")
			seen[s.Name] = true
			require.NotEmpty(t, s.Summary)
			require.NotContains(t, s.Summary, "\n")
			require.NotContains(t, s.Name, "+")
			clk := clock.NewStepped(noon)
			sim, err := Open(s.Name, 1, clk)
			require.NoError(t, err)
			l, err := sim.Dial(t.Context())
			require.NoError(t, err)
			answer := ""
			for range 5 { // some lose bytes
				_, err = l.Write([]byte("ATI\r"))
				require.NoError(t, err)
				clk.Advance(5 * time.Second)
				require.NoError(t, l.SetReadDeadline(clk.Now().Add(time.Second)))
				buf := make([]byte, 256)
				n, err := l.Read(buf)
				require.NoError(t, err)
				answer += string(buf[:n])
			}
			assert.Contains(t, answer, "ELM327 v")
		})
	}
	for _, name := range []string{"wren", "rook", "wide", "cheap-adapter", "dropping-link"} {
		assert.True(t, seen[name], name)
	}
}

func TestScenariosJoin(t *testing.T) {
	clk := clock.NewStepped(noon)
	sim, err := Open("rook+slow-serial+dropping-link", 1, clk)
	require.NoError(t, err)
	assert.Equal(t, obd.ISO9141, sim.Car.Protocol())
	l, err := sim.Dial(t.Context())
	require.NoError(t, err)
	_, err = l.Write([]byte("AT"))
	require.NoError(t, err)
	n, err := l.Read(make([]byte, 8))
	require.NoError(t, err)
	assert.Equal(t, 2, n)
	assert.Equal(t, 3*(time.Second/960), clk.Now().Sub(noon))
	clk.Advance(time.Minute)
	_, err = l.Write([]byte("I\r"))
	assert.ErrorIs(t, err, link.ErrGone)
}

func TestNoNameIsTheFirstCar(t *testing.T) {
	clk := clock.NewStepped(noon)
	unnamed, err := Open("", 1, clk)
	require.NoError(t, err)
	first, err := Open(Scenarios()[0].Name, 1, clk)
	require.NoError(t, err)
	assert.Equal(t, first.Car.Vehicle(), unnamed.Car.Vehicle())
}

func TestUnknownScenario(t *testing.T) {
	for _, name := range []string{"nothing", "wren+", "wren+nothing", "wren+rook", "+", "WREN"} {
		_, err := Open(name, 1, clock.NewStepped(noon))
		require.Error(t, err, name)
		for _, s := range Scenarios() {
			assert.Contains(t, err.Error(), s.Name)
		}
		assert.NotContains(t, err.Error(), "\n")
	}
}

// A whole conversation with a car of each bus, as a reader of the wire would have it.
func TestRealCars(t *testing.T) {
	for name, want := range map[string]string{
		"wren-running": "7E8", "wide": "18DAF110", "rook": "486B10", "rook-kwp": "F110", "rook-vpw": "486B10", "rook-pwm": "416B10",
	} {
		t.Run(name, func(t *testing.T) {
			clk := clock.NewStepped(noon)
			sim, err := Open(name, 1, clk)
			require.NoError(t, err)
			l, err := sim.Dial(t.Context())
			require.NoError(t, err)
			r := &rig{T: t, link: l.(*Link), clk: clk}
			r.setUp("ATE0", "ATS0", "ATH1")
			clk.Advance(time.Minute)
			got, _ := r.say("0100")
			assert.Contains(t, got, want)
			assert.Contains(t, got, "4100")
			got, _ = r.say("0902")
			assert.Contains(t, got, want)
			assert.Contains(t, got, "4902")
		})
	}
}

// The same name, seed and dialogue give the same bytes.
func TestScenarioDeterministic(t *testing.T) {
	spoken := func(seed uint64) string {
		clk := clock.NewStepped(noon)
		sim, err := Open("wren", seed, clk)
		require.NoError(t, err)
		l, err := sim.Dial(t.Context())
		require.NoError(t, err)
		r := &rig{T: t, link: l.(*Link), clk: clk}
		r.setUp("ATE0", "ATS0", "ATH1")
		var all strings.Builder
		for range 400 {
			got, took := r.say("010C040D0511")
			all.WriteString(got + took.String())
			got, took = r.say("06A31")
			all.WriteString(got + took.String())
		}
		return all.String()
	}
	first := spoken(5)
	require.Equal(t, first, spoken(5))
	require.NotEqual(t, first, spoken(6))
}
