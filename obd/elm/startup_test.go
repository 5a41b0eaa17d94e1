package elm

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

func TestStartUp(t *testing.T) {
	p := newPeer(faithful(nil))
	a, err := Connect(t.Context(), p.config())
	require.NoError(t, err)
	assert.Equal(t, []string{"ATI", "ATWS", "ATE0", "ATL0", "ATS0", "ATCAF1", "ATAT1", "ATH1", "ATSP6", "0100"}, p.sent)
	assert.Equal(t, obd.CAN11At500, a.Protocol())
	assert.Equal(t, "ELM327 v1.4B", a.Identity())
	assert.True(t, a.Headers())
	v, err := a.Voltage(t.Context())
	require.NoError(t, err)
	assert.Equal(t, 12.3, v)
}

// A cheap adapter may answer any set-up command with a question mark.
func TestStartUpSurvivesUnknownCommands(t *testing.T) {
	for _, command := range []string{"ATE0", "ATL0", "ATS0", "ATCAF1", "ATAT1", "ATH1", "ATDPN", "ATSP0"} {
		t.Run(command, func(t *testing.T) {
			p := newPeer(faithful(map[string]string{command: "?"}))
			a, err := Connect(t.Context(), p.config())
			require.NoError(t, err)
			assert.Equal(t, obd.CAN11At500, a.Protocol())
			if command == "ATH1" {
				assert.False(t, a.Headers())
				return
			}
			answer, err := a.Do(t.Context(), askRPM)
			require.NoError(t, err)
			assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
		})
	}
}

// The name is asked for first, then the short reset, then the long one. Some cables answer no reset at all (ATZ gives its
// echo and no prompt, ATI and AT@1 answer: adapter-faults sheet, row 7); others have no name but a description.
func TestWhoIsThere(t *testing.T) {
	for name, c := range map[string]struct {
		said map[string]string
		sent []string
		name string
	}{
		"no reset at all": {map[string]string{"ATWS": quiet, "ATZ": "ATZ\r" + quiet},
			[]string{"ATI", "ATWS", "ATZ", "ATD", "ATE0"}, "ELM327 v1.4B"},
		"no short reset":     {map[string]string{"ATWS": "?"}, []string{"ATI", "ATWS", "ATZ", "ATE0"}, "ELM327 v1.4B"},
		"a description only": {map[string]string{"ATI": "?", "AT@1": "OBDII to RS232 Interpreter"}, []string{"ATI", "ATI", "AT@1", "ATWS", "ATE0"}, "OBDIITORS232INTERPRETER"},
		"a late answer of the client before": {map[string]string{"ATI": "7E804410C0BB8\r\r>\r\rELM327 v1.4b"},
			[]string{"ATI", "ATI", "ATWS", "ATE0"}, "ELM327 v1.4B"},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(nil)
			p.answer = func(line string) string {
				if line == "ATI" && p.count("ATI") > 1 && name == "a late answer of the client before" {
					return "ELM327 v1.4b"
				}
				return faithful(c.said)(line)
			}
			a, err := Connect(t.Context(), p.config())
			require.NoError(t, err)
			var sent []string // but for the questions by which the dialogue gets into step
			for i, line := range p.sent {
				if line != "ATI" || i < 2 {
					sent = append(sent, line)
				}
			}
			assert.Equal(t, c.sent, sent[:len(c.sent)])
			assert.Equal(t, strings.ReplaceAll(c.name, " v", " v"), a.Identity())
			for _, line := range p.sent {
				assert.NotEmpty(t, line, "an empty line would repeat what another program sent last")
			}
		})
	}
}

// What the client before was still owed comes a moment after the first answer: the dialogue is a step behind, sees it, and
// begins again.
func TestOneStepBehind(t *testing.T) {
	p := newPeer(nil)
	behind, last := true, ""
	p.answer = func(line string) string {
		said := faithful(nil)(line)
		if line == "ATI" || !behind {
			return said
		}
		said, last = last, said
		if said == "" {
			said = "ELM327 v1.4b" // the answer to a question of the client before
		}
		if strings.HasPrefix(line, "0100") {
			behind = false // the line is quiet for once
		}
		return said
	}
	a, err := Connect(t.Context(), p.config())
	require.NoError(t, err)
	answer, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
}

// count is how often a line was sent.
func (p *peer) count(line string) (n int) {
	for _, s := range p.sent {
		if s == line {
			n++
		}
	}
	return n
}

// Without headers a module's single frames still come through, from nobody in particular.
func TestNoHeaders(t *testing.T) {
	p := newPeer(faithful(map[string]string{"ATH1": "?", "0100": "4100BE3FB813", "010C": "410C0BB8"}))
	a := connected(t, p)
	answer, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
	assert.Equal(t, "-", answer.Messages[0].Module.String())
}

// Protocols that an adapter does not name are told from the first line (ELM327 data sheet, headers on; header
// bytes of ISO 15765-4, SAE J1850, ISO 14230-4) or, where lines of two look alike, by trying.
func TestProtocolUnsaid(t *testing.T) {
	for line, want := range map[string]obd.Protocol{
		"7E8064100BE3FB813":        obd.CAN11At500,
		"18DAF110064100BE3FB813":   obd.CAN29At500,
		"416B104100B87B30109E":     obd.J1850PWM,
		"86F1104100B87B30103B":     obd.KWPFast,
		"7E8 06 41 00 BE 3F B8 13": obd.CAN11At500, // spaces stayed on
	} {
		p := newPeer(faithful(map[string]string{"ATDPN": "0", "0100": line})) // says OK to ATSP6 and searches all the same
		a, err := Connect(t.Context(), p.config())
		require.NoError(t, err)
		assert.Equal(t, want, a.Protocol(), line)
	}
	p := newPeer(nil)
	p.answer = func(line string) string { // speaks ISO 9141-2 and nothing else
		switch {
		case line == "0100" && (p.last("ATSP") == "ATSP3" || p.last("ATSP") == "ATSP0"):
			return "BUS INIT: ...OK\r486B104100B87B301077"
		case line == "0100":
			return "UNABLE TO CONNECT"
		case line == "ATDPN":
			return "0"
		}
		return faithful(nil)(line)
	}
	a, err := Connect(t.Context(), p.config())
	require.NoError(t, err)
	assert.Equal(t, obd.ISO9141, a.Protocol())
}

// last is the newest line sent that begins with a text.
func (p *peer) last(prefix string) string {
	for i := len(p.sent) - 1; i >= 0; i-- {
		if strings.HasPrefix(p.sent[i], prefix) {
			return p.sent[i]
		}
	}
	return ""
}

func TestRememberedProtocolIsTakenUp(t *testing.T) {
	p := newPeer(faithful(nil))
	cfg := p.config()
	cfg.Protocol = obd.CAN29At500
	_, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	assert.Contains(t, p.sent, "ATSP7")
	assert.NotContains(t, p.sent, "ATSP0")
}

func TestNoCar(t *testing.T) {
	for _, said := range []string{"SEARCHING...\rUNABLE TO CONNECT", "UNABLETOCONNECT", "SEARCHING...UNABLE TO CONNECT",
		"CAN ERROR", "BUS INIT: ...ERROR", "BUS INIT: ERROR", "BUSINIT:ERROR", "NO DATA"} {
		p := newPeer(faithful(map[string]string{"0100": said}))
		a, err := Connect(t.Context(), p.config())
		require.Error(t, err, said)
		require.NotNil(t, a, "the adapter is there, only the car is not: %s", said)
		assert.Equal(t, RemedyWaitIgnition, RemedyFor(err), said)
		p.answer = faithful(map[string]string{"0100": "SEARCHING...\r7E8064100BE3FB813"})
		require.NoError(t, a.FindCar(t.Context()), "found once the ignition is on")
	}
}

func TestNothingThere(t *testing.T) {
	for name, c := range map[string]struct {
		answer func(string) string
		want   error
	}{
		"silent":          {func(string) string { return quiet }, Silent},
		"rubbish":         {func(string) string { return "\xfc\xfe0\x02~\xff" + quiet }, NotAnAdapter},
		"something else":  {func(string) string { return "login:" + quiet }, NotAnAdapter},
		"only prompts":    {func(string) string { return "" }, Silent},
		"refuses it all":  {func(string) string { return "?" }, NotAnAdapter},
		"half then quiet": {func(string) string { return "ELM3" + quiet }, NotAnAdapter},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(c.answer)
			a, err := Connect(t.Context(), p.config())
			assert.Nil(t, a)
			assert.ErrorIs(t, err, c.want)
			assert.True(t, p.closed, "the link is closed again")
			assert.NotContains(t, err.Error(), "\n")
		})
	}
}

func TestBabble(t *testing.T) {
	p := newPeer(nil)
	p.answer = func(string) string { return strings.Repeat("X", 4000) + quiet }
	a, err := Connect(t.Context(), Config{Clock: p.clock, Dial: func(context.Context) (Link, error) { return &babbler{p}, nil }})
	assert.Nil(t, a)
	assert.ErrorIs(t, err, NotAnAdapter)
}

// babbler prints without end.
type babbler struct{ *peer }

func (b *babbler) Read(p []byte) (int, error) {
	b.clock.Advance(time.Millisecond)
	for i := range p {
		p[i] = 'X'
	}
	return len(p), nil
}

func TestIdentify(t *testing.T) {
	good := newPeer(faithful(nil))
	require.NoError(t, Identify(t.Context(), Config{Clock: good.clock}, good))
	assert.Equal(t, []string{"ATI"}, good.sent, "nothing but the question who is there")

	tail := newPeer(nil)
	tail.answer = func(string) string { // garbage of another speed is still in its buffer the first time
		if len(tail.sent) == 1 {
			return "?"
		}
		return "ELM327 v1.5"
	}
	assert.NoError(t, Identify(t.Context(), Config{Clock: tail.clock}, tail))

	for _, garbage := range []string{quiet, "\x80\xf8\x1c" + quiet, "~\x7f!" + quiet, "??"} {
		p := newPeer(func(string) string { return garbage })
		assert.Error(t, Identify(t.Context(), Config{Clock: p.clock}, p), "%q", garbage)
	}
}

func TestDialFails(t *testing.T) {
	cause := errors.New("no such port")
	a, err := Connect(t.Context(), Config{Clock: newPeer(nil).clock, Dial: func(context.Context) (Link, error) { return nil, cause }})
	assert.Nil(t, a)
	assert.ErrorIs(t, err, cause)
}
