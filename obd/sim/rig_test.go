package sim

import (
	"encoding/hex"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/sim/car"
)

// noon is when every test begins.
var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

// bench is a car that is a table: request in hexadecimal -> answers. It also notes what it was asked.
type bench struct {
	protocol obd.Protocol
	asleep   bool
	table    map[string][]car.Answer
	asked    []string
	nodes    []byte
	latest   time.Time
}

func (b *bench) Protocol() obd.Protocol    { return b.protocol }
func (b *bench) Ignition(time.Time) bool   { return !b.asleep }
func (b *bench) Voltage(time.Time) float64 { return 12.34 }

func (b *bench) Request(dst []car.Answer, at time.Time, node byte, request []byte) []car.Answer {
	if at.Before(b.latest) {
		panic("time ran backwards on the bus")
	}
	b.latest = at
	key := strings.ToUpper(hex.EncodeToString(request))
	b.asked = append(b.asked, key)
	b.nodes = append(b.nodes, node)
	for _, a := range b.table[key] {
		if node == 0 || node == a.Module {
			dst = append(dst, a)
		}
	}
	return dst
}

// says is one answer of a node after some milliseconds.
func says(node byte, ms int, data string) car.Answer {
	b, err := hex.DecodeString(strings.ReplaceAll(data, " ", ""))
	if err != nil {
		panic(err)
	}
	return car.Answer{Module: node, Data: b, Delay: time.Duration(ms) * time.Millisecond}
}

// rig is an adapter on a bench car with a client that waits for prompts, all on one stepped clock.
type rig struct {
	*testing.T
	adapter *Adapter
	link    *Link
	clk     *clock.Stepped
}

func newRig(t *testing.T, cfg Config) *rig {
	t.Helper()
	clk := clock.NewStepped(noon)
	a := NewAdapter(cfg)
	return &rig{T: t, adapter: a, link: NewLink(a, clk), clk: clk}
}

// say sends a command and returns everything up to the prompt, and how long it took.
func (r *rig) say(command string) (string, time.Duration) {
	r.Helper()
	start := r.clk.Now()
	_, err := r.link.Write([]byte(command + "\r"))
	require.NoError(r, err)
	return r.toPrompt(), r.clk.Now().Sub(start)
}

// toPrompt reads up to the prompt.
func (r *rig) toPrompt() string {
	r.Helper()
	require.NoError(r, r.link.SetReadDeadline(r.clk.Now().Add(30*time.Second)))
	var got []byte
	buf := make([]byte, 512)
	for !strings.HasSuffix(string(got), ">") {
		n, err := r.link.Read(buf)
		require.NoError(r, err, "after %q", got)
		got = append(got, buf[:n]...)
	}
	return string(got)
}

// expect sends a command and wants exactly this text before the blank line and the prompt.
func (r *rig) expect(command, answer string) time.Duration {
	r.Helper()
	got, took := r.say(command)
	require.Equal(r, answer+"\r\r>", got, command)
	return took
}

// silence wants nothing to come for a while.
func (r *rig) silence(d time.Duration) {
	r.Helper()
	require.NoError(r, r.link.SetReadDeadline(r.clk.Now().Add(d)))
	n, err := r.link.Read(make([]byte, 64))
	require.ErrorIs(r, err, os.ErrDeadlineExceeded)
	require.Zero(r, n)
}

// setUp sends commands that must answer OK.
func (r *rig) setUp(commands ...string) {
	r.Helper()
	for _, c := range commands {
		got, _ := r.say(c)
		require.Contains(r, got, "OK\r", c)
	}
}
