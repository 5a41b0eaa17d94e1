package sim

import (
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/sim/car"
)

func TestEchoQuirks(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Quirks: Quirks{EchoSticks: true}})
	r.expect("ATE0", "ATE0\rOK")
	r.expect("ATI", "ATI\rELM327 v2.2")

	r = newRig(t, Config{Bus: idling(), Quirks: Quirks{EchoReturns: true}})
	r.setUp("ATE0")
	r.expect("ATSP6", "OK")
	r.expect("ATI", "ATI\rELM327 v2.2")
}

func TestResetQuirks(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Version: "ELM327 v2.1", Quirks: Quirks{ResetJunk: "\xfc\x00", ResetClips: true}})
	r.expect("ATZ", "ATZ\r\r\r\xfc\x00LM327 v2.1")
	r.expect("ATI", "ATI\rELM327 v2.1")
}

func TestRefusals(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Quirks: CheapAdapter()})
	got := func(command string) string {
		for range 20 { // the line loses and adds bytes
			answer, _ := r.say(command)
			answer = strings.Map(func(c rune) rune {
				if c == 0 || c >= 0x7f {
					return -1
				}
				return c
			}, strings.ToValidUTF8(answer, ""))
			if rest, ok := strings.CutPrefix(answer, command+"\r"); ok && strings.HasSuffix(rest, "\r\r>") {
				return strings.TrimSuffix(rest, "\r\r>")
			}
		}
		t.Fatalf("no clean answer to %s", command)
		return ""
	}
	for _, c := range []string{"ATAL", "ATCAF1", "ATCFC1", "ATAT1", "ATAT2", "ATST20", "ATS0", "ATPPS", "ATTP6", "ATR0", "01001"} {
		assert.Equal(t, "?", got(c), c)
	}
	for _, c := range []string{"ATH1", "ATSP6", "ATE0", "ATL0", "ATSH7E0"} {
		assert.Equal(t, "OK", got(c), c)
	}
	assert.Equal(t, "0", got("ATDPN"))
	assert.Contains(t, got("010D"), "7E8 03 41 0D 53 00 00 00 00 ", "spaces stay, frames are padded")
}

func TestCANOnly(t *testing.T) {
	bus := idling()
	bus.protocol = obd.ISO9141
	r := newRig(t, Config{Bus: bus, Quirks: Quirks{CANOnly: true}})
	r.setUp("ATE0")
	r.expect("0100", "SEARCHING...\rUNABLE TO CONNECT")
	r.setUp("ATSP3")
	r.expect("0100", "BUS INIT: ...ERROR")
	bus.protocol = obd.J1850PWM
	r.setUp("ATSP1")
	r.expect("0100", "NO DATA")
}

func TestSmallQuirks(t *testing.T) {
	r, _ := connected(t, Config{Quirks: Quirks{NoCount: true, NoProtocol: true, IgnoresST: true, PadsFrames: true}})
	r.expect("010D1", "?")
	r.expect("ATDPN", "0")
	r.setUp("ATAT0", "ATST04")
	assert.Greater(t, r.expect("010D", "7E803410D5300000000"), 200*time.Millisecond)
	r.setUp("ATH0")
	r.expect("010D", "410D5300000000")
}

func TestHangs(t *testing.T) {
	r, _ := connected(t, Config{Quirks: Quirks{HangsOnSearch: true}})
	for _, c := range []string{"ATTPA0", "ATZ", "", "."} {
		_, err := r.link.Write([]byte(c + "\r"))
		require.NoError(t, err)
		r.silence(time.Minute)
	}
	r.adapter.PowerCycle(r.clk.Now())
	require.Equal(t, "\r\rELM327 v2.2\r\r>", r.toPrompt())
	r.setUp("ATE0")
}

func TestPrompts(t *testing.T) {
	r := newRig(t, Config{Bus: idling(), Quirks: Quirks{LatePrompt: 15 * time.Millisecond, DoublePrompt: 1}})
	took := r.expect("ATI", "ATI\rELM327 v2.2")
	assert.Equal(t, processing+15*time.Millisecond, took)
	require.Equal(t, "\r>", r.toPrompt(), "the second prompt")
}

// A clone's buffer swallows a frame in the middle without a word: the sequence numbers show it.
func TestSmallBufferLosesLines(t *testing.T) {
	bus := &bench{protocol: obd.CAN11At500, table: map[string][]car.Answer{
		"06A1": {says(0x10, 8, "46"+strings.Repeat("A10C240000000000FF", 4))}}}
	r := newRig(t, Config{Bus: bus, Baud: 115200, Quirks: Quirks{Buffer: 128, LosesLines: true}})
	r.setUp("ATE0", "ATH1")
	got, _ := r.say("06A1")
	require.Contains(t, got, "7E8 10 25 46")
	require.NotContains(t, got, "FULL")
	require.Less(t, strings.Count(got, "7E8 2"), 5, "of five consecutive frames")
	r.setUp("ATS0")
	got, _ = r.say("06A1")
	require.Equal(t, 5, strings.Count(got, "7E82"), "without spaces they fit")
}

func TestNoise(t *testing.T) {
	heard := func(q Quirks, seed uint64) string {
		r := newRig(t, Config{Bus: idling(), Seed: seed, Quirks: q})
		var all strings.Builder
		for range 200 {
			_, err := r.link.Write([]byte("ATI\r"))
			require.NoError(t, err)
			r.clk.Advance(time.Second)
			buf := make([]byte, 256)
			n, err := r.link.Read(buf)
			require.NoError(t, err)
			all.Write(buf[:n])
		}
		return all.String()
	}
	clean := heard(Quirks{}, 1)
	noisy := heard(Quirks{Noise: 0.05}, 1)
	assert.InDelta(t, 1.05, float64(len(noisy))/float64(len(clean)), 0.02)
	assert.Contains(t, noisy, "\x00")
	assert.Equal(t, clean, strings.Map(func(c rune) rune {
		if c == 0 || c >= 0x80 {
			return -1
		}
		return c
	}, strings.ToValidUTF8(noisy, "")), "nothing but NULs and bytes with the high bit set is added")
	lossy := heard(Quirks{LosesBytes: 0.05}, 1)
	assert.InDelta(t, 0.95, float64(len(lossy))/float64(len(clean)), 0.02)
	assert.Equal(t, noisy, heard(Quirks{Noise: 0.05}, 1), "same seed, same bytes")
	assert.NotEqual(t, noisy, heard(Quirks{Noise: 0.05}, 2))
}

func TestMisreads(t *testing.T) {
	r, bus := connected(t, Config{Quirks: Quirks{Misreads: 1}})
	got, _ := r.say("010D")
	require.True(t, strings.HasSuffix(got, "<RX ERROR\r\r>"), got)
	require.NotContains(t, got, "7E803410D53")
	bus.protocol = obd.ISO9141
	r.setUp("ATSP3")
	got, _ = r.say("010D")
	require.True(t, strings.HasSuffix(got, "<DATA ERROR\r\r>"), got)
}

func TestFaults(t *testing.T) {
	r, _ := connected(t, Config{Faults: []Fault{
		{2 * time.Minute, LowVoltageReset}, {time.Minute, ActivityAlert}, {3 * time.Minute, FatalCAN}}})
	require.NoError(t, r.link.SetReadDeadline(time.Time{}))
	buf := make([]byte, 64)
	n, err := r.link.Read(buf)
	require.NoError(t, err)
	require.Equal(t, "ACT ALERT\r\r>", string(buf[:n]))
	require.Equal(t, time.Minute, r.clk.Now().Sub(noon))
	r.expect("010D", "7E803410D53")

	r.clk.AdvanceTo(noon.Add(2*time.Minute - 5*time.Millisecond)) // strikes in mid-answer
	_, err = r.link.Write([]byte("010D\r"))
	require.NoError(t, err)
	require.Equal(t, "LV RESET\r\r>", r.toPrompt())
	r.expect("ATI", "ATI\rELM327 v2.2")
	r.setUp("ATE0")

	r.clk.AdvanceTo(noon.Add(3 * time.Minute))
	require.Equal(t, "ERR94\r\r>", r.toPrompt())
	r.setUp("ATE0", "ATS0")
	r.expect("010D", "SEARCHING...\rUNABLE TO CONNECT")
	r.setUp("ATFE")
	r.expect("010D", "SEARCHING...\r410D53")
}

// The same seed and the same dialogue give the same bytes at the same times, quirks and all.
func TestDeterministic(t *testing.T) {
	spoken := func(seed uint64) string {
		r := newRig(t, Config{Bus: idling(), Baud: 38400, Seed: seed, Quirks: CheapAdapter()})
		rng := rand.New(rand.NewPCG(7, 7))
		commands := []string{"ATZ", "0100", "010D", "0902", "ATRV", "ATSP0", "01FF", "", "ATH1"}
		var all strings.Builder
		buf := make([]byte, 64)
		for range 300 {
			_, err := r.link.Write([]byte(commands[rng.IntN(len(commands))] + "\r"))
			require.NoError(t, err)
			_ = r.link.SetReadDeadline(r.clk.Now().Add(time.Duration(rng.IntN(2000)) * time.Millisecond))
			for {
				n, err := r.link.Read(buf)
				if err != nil {
					break
				}
				all.WriteString(r.clk.Now().String())
				all.Write(buf[:n])
			}
		}
		return all.String()
	}
	first := spoken(3)
	require.Greater(t, len(first), 10000)
	require.Equal(t, first, spoken(3))
	require.NotEqual(t, first, spoken(4))
}
