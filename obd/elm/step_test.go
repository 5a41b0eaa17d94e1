package elm

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

// lastRequest is the newest line sent that is no set-up command.
func (p *peer) lastRequest() string {
	for i := len(p.sent) - 1; i >= 0; i-- {
		if !strings.HasPrefix(p.sent[i], "AT") {
			return p.sent[i]
		}
	}
	return ""
}

// A frame that a count digit cut off is the first of the next answer and takes the place of its last: the dialogue
// must find back into step at once, not answer after answer one line short. bus is a CAN bus of two modules behind
// such an adapter (data sheet: the count ends the wait; later frames are still received).
type bus struct {
	left  []string // cut off the last time
	quiet bool     // the second module says nothing
}

func (b *bus) answer(line string) string {
	lines := []string{"7E8100D410C0AFA0454", "7E8210D00113A030200", "7E906410C0AFA0D00"}
	switch {
	case strings.HasPrefix(line, "010D"):
		lines = []string{"7E803410D53", "7E903410D53"}
	case !strings.HasPrefix(line, "010C040D1103"):
		return faithful(nil)(line)
	}
	if b.quiet {
		lines = lines[:len(lines)-1]
	}
	lines = append(b.left, lines...)
	count := len(lines)
	if len(line)%2 == 1 {
		count = min(count, int(line[len(line)-1]-'0'))
	}
	b.left = nil
	for _, l := range lines[count:] {
		if l[3] != '2' { // of a message that nobody listens to no consecutive frame comes
			b.left = append(b.left, l)
		}
	}
	return strings.Join(lines[:count], "\r")
}

func TestLeftoverFrames(t *testing.T) {
	b := &bus{quiet: true}
	p := newPeer(b.answer)
	a := connected(t, p)
	batch := obd.Live(0x0C, 0x04, 0x0D, 0x11, 0x03)
	for range 5 {
		_, err := a.Do(t.Context(), batch)
		require.NoError(t, err)
	}
	require.Equal(t, "010C040D11032", p.lastRequest())
	b.quiet = false // its answer is cut off from now on
	p.sent = nil
	for i := range 12 {
		answer, err := a.Do(t.Context(), batch)
		require.NoError(t, err)
		whole := slices.ContainsFunc(answer.Messages, func(m obd.Message) bool { return m.Module.ID == 0x7E8 && len(m.Data) == 13 })
		assert.True(t, whole, "answer %d is whole: %v", i, answer.Messages)
		for j, m := range answer.Messages {
			for _, other := range answer.Messages[:j] {
				assert.NotEqual(t, other.Module, m.Module, "a module answers once")
			}
		}
	}
	assert.LessOrEqual(t, len(p.sent), 14, "%q", p.sent)
	assert.Equal(t, "010C040D11033", p.lastRequest(), "the right number is learnt")
}

// A leftover of another request is dropped, and the number of lines it falsified not learnt.
func TestLeftoverOfAnotherRequest(t *testing.T) {
	b := &bus{}
	p := newPeer(b.answer)
	a := connected(t, p)
	for range 4 {
		_, err := a.Do(t.Context(), obd.Live(obd.PIDSpeed))
		require.NoError(t, err)
	}
	require.Equal(t, "010D2", p.lastRequest())
	for range 3 {
		b.left = []string{"7E906410C0AFA0D00"}
		answer, err := a.Do(t.Context(), obd.Live(obd.PIDSpeed))
		require.NoError(t, err)
		for _, m := range answer.Messages {
			assert.Equal(t, byte(obd.PIDSpeed), m.Data[1])
		}
		answer, err = a.Do(t.Context(), obd.Live(obd.PIDSpeed))
		require.NoError(t, err)
		assert.Len(t, answer.Messages, 2)
	}
	for range 3 {
		_, err := a.Do(t.Context(), obd.Live(obd.PIDSpeed))
		require.NoError(t, err)
	}
	assert.Equal(t, "010D2", p.lastRequest())
}

// A line sent to a busy adapter loses its first character and what is left may be another request; the dialogue
// never puts one at risk. This peer is busy for a second after each request whose prompt it prints too early, or not
// at all, and notes what would have reached the bus.
func TestNoRequestIsPutAtRisk(t *testing.T) {
	for name, early := range map[string]string{
		"an alert with a prompt": "ACT ALERT", "stopped": "STOPPED", "nothing at all": quiet, "half an answer": "7E80441" + quiet,
		"another's answer": "7E803410D00",
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(nil)
			var busy time.Time
			var reached []string
			trouble := 0
			p.answer = func(line string) string {
				if p.clock.Now().Before(busy) {
					busy = time.Time{}
					if rest := line[1:]; len(rest) > 0 && !strings.HasPrefix(rest, "T") {
						reached = append(reached, rest)
					}
					return "STOPPED\r\r>?"
				}
				if strings.HasPrefix(line, "0104") && trouble == 0 {
					trouble++
					busy = p.clock.Now().Add(time.Second)
					return early
				}
				if strings.HasPrefix(line, "0104") {
					return "7E803410480"
				}
				return faithful(nil)(line)
			}
			a := connected(t, p)
			answer, err := a.Do(t.Context(), obd.Live(obd.PIDLoad))
			require.NoError(t, err)
			assert.Equal(t, []byte{0x41, 0x04, 0x80}, answer.Messages[0].Data)
			assert.Empty(t, reached)
		})
	}
}

// The same when the caller gave a request up and asks the next with a new context.
func TestAfterAGivenUpRequest(t *testing.T) {
	p := newPeer(faithful(map[string]string{"010C": quiet}))
	a := connected(t, p)
	ctx, cancel := context.WithCancelCause(t.Context())
	over := errors.New("the screen was closed")
	p.answer = func(line string) string {
		if line == "010C" {
			cancel(over)
			return quiet
		}
		return faithful(map[string]string{"0104": "7E803410480"})(line)
	}
	_, err := a.Do(ctx, askRPM)
	require.ErrorIs(t, err, over)
	p.sent = nil
	_, err = a.Do(t.Context(), obd.Live(obd.PIDLoad))
	require.NoError(t, err)
	assert.Equal(t, []string{"ATI", "0104"}, p.sent)
}

// A prompt lost on the way costs a moment and one repetition, not a new start.
func TestLostPrompt(t *testing.T) {
	for text, most := range map[string]time.Duration{
		"7E804410C0BB8\r\r": 700 * time.Millisecond, // its blank line came
		"7E804410C0BB8":     1400 * time.Millisecond,
	} {
		p := newPeer(faithful(nil))
		a := connected(t, p)
		lost := true
		p.answer = func(line string) string {
			if line == "010C" && lost {
				lost = false
				return text + quiet
			}
			return faithful(nil)(line)
		}
		before := p.clock.Now()
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		assert.Less(t, p.clock.Now().Sub(before), most)
		assert.Equal(t, []string{"010C", "ATI", "010C"}, p.sent)
	}
}

// The same in the middle of the start-up.
func TestLostPromptInStartUp(t *testing.T) {
	for _, command := range []string{"ATE0", "ATH1", "ATI", "ATSP0", "ATDPN"} {
		p := newPeer(nil)
		lost := true
		p.answer = func(line string) string {
			if line == command && lost {
				lost = false
				return faithful(nil)(line) + quiet
			}
			return faithful(nil)(line)
		}
		a, err := Connect(t.Context(), p.config())
		require.NoError(t, err, command)
		assert.Equal(t, obd.CAN11At500, a.Protocol())
		assert.True(t, a.Headers())
	}
}

// A search or the waking of a K-line may take far longer than an answer does, with the echo on or off.
func TestProgressIsWaitedFor(t *testing.T) {
	for _, text := range []string{"SEARCHING...", "010C\rSEARCHING...", "BUS INIT: ", "BUSINIT:."} {
		p := newPeer(faithful(nil))
		a := connected(t, p)
		slow := &slowly{peer: p, first: text, then: "OK\r7E804410C0BB8\r\r>", pause: 15 * time.Second}
		if strings.Contains(text, "SEARCHING") {
			slow.then = "\r7E804410C0BB8\r\r>"
		}
		a.link = slow
		before := p.clock.Now()
		answer, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err, text)
		assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
		assert.GreaterOrEqual(t, p.clock.Now().Sub(before), slow.pause)
	}
}

// slowly prints one thing, pauses, and prints another.
type slowly struct {
	*peer
	first, then string
	pause       time.Duration
}

func (s *slowly) Write(b []byte) (int, error) { s.sent = append(s.sent, string(b)); return len(b), nil }

func (s *slowly) Read(b []byte) (int, error) {
	if s.first != "" {
		n := copy(b, s.first)
		s.first = ""
		s.due = s.clock.Now().Add(s.pause)
		return n, nil
	}
	s.out = []byte(s.then)
	return s.peer.Read(b)
}

// What an adapter says unasked behind a prompt is heard: after a reset nothing of its settings is left.
func TestUnaskedWords(t *testing.T) {
	for _, word := range []string{"LV RESET", "ERR94", "ELM327 v1.4b", "LP ALERT"} {
		p := newPeer(faithful(nil))
		a := connected(t, p)
		p.answer = faithful(map[string]string{"010C": "7E804410C0BB8\r\r>\r" + word})
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err, word)
		p.sent, p.answer = nil, faithful(nil)
		_, err = a.Do(t.Context(), askRPM)
		require.NoError(t, err, word)
		assert.Contains(t, p.sent, "ATWS", word)
		assert.Equal(t, "010C", p.sent[len(p.sent)-1])
	}
	p := newPeer(faithful(nil)) // an alert is no reset: the next line is sent with care, that is all
	a := connected(t, p)
	p.answer = faithful(map[string]string{"010C": "7E804410C0BB8\r\r>\rACT ALERT"})
	_, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	p.sent, p.answer = nil, faithful(nil)
	_, err = a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, []string{"ATI", "010C"}, p.sent)
}

// A restart that nobody told of shows in the echo that is back.
func TestRestartShowsInTheEcho(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	reset := true
	p.answer = func(line string) string {
		if line == "ATE0" {
			reset = false
		}
		if reset && !strings.HasPrefix(line, "AT") {
			return line + "\r410C0BB8" // echo on, headers off
		}
		return faithful(nil)(line)
	}
	answer, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
	assert.Equal(t, "7E8", answer.Messages[0].Module.String())
	assert.Contains(t, p.sent, "ATWS")
}

// A module that promised an answer is waited for even when another has answered: it hears nothing else meanwhile.
func TestPromiseBesideAnAnswer(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	asked := 0
	p.answer = func(line string) string {
		if !strings.HasPrefix(line, "0906") {
			return faithful(nil)(line)
		}
		switch asked++; asked {
		case 1:
			return "7E8037F0978\r7E907490601AABBCCDD"
		case 2:
			return "7E907490601AABBCCDD" // still at work
		case 3:
			return "7E8037F0921\r7E907490601AABBCCDD"
		}
		return "7E80749060111223344\r7E907490601AABBCCDD"
	}
	answer, err := a.Do(t.Context(), obd.Info(obd.InfoCVNs))
	require.NoError(t, err)
	require.Len(t, answer.Messages, 2)
	assert.Equal(t, "7E8", answer.Messages[0].Module.String())
	assert.Equal(t, "ATAT1", p.sent[len(p.sent)-1], "the timing is set back")

	asked = 0 // kept within one answer, it is no promise any more
	p.sent = nil
	p.answer = func(string) string { return "7E8037F0978\r7E80749060111223344" }
	_, err = a.Do(t.Context(), obd.Info(obd.InfoCVNs))
	require.NoError(t, err)
	assert.Len(t, p.sent, 1)

	p.answer = func(line string) string { // never kept
		if strings.HasPrefix(line, "0906") {
			return "7E8037F0978\r7E907490601AABBCCDD"
		}
		return faithful(nil)(line)
	}
	answer, err = a.Do(t.Context(), obd.Info(obd.InfoCVNs))
	require.NoError(t, err)
	assert.Len(t, answer.Messages, 1)
	require.Len(t, answer.Negatives, 1)
	assert.True(t, answer.Negatives[0].Pending())
}

// A module that is busy is asked again even when another has answered.
func TestBusyBesideAnAnswer(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	asked := 0
	p.answer = func(line string) string {
		if asked++; asked < 3 {
			return "7E8037F0121\r7E904410C0BB8"
		}
		return "7E804410C0BB8\r7E904410C0BB8"
	}
	before := p.clock.Now()
	answer, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Len(t, answer.Messages, 2)
	assert.GreaterOrEqual(t, p.clock.Now().Sub(before), 2*busyPause)
}

// Answers of several modules that an adapter cannot hold at once are asked for one module at a time, and requests
// go to all of them again afterwards.
func TestOneModuleAtATime(t *testing.T) {
	for _, wide := range []bool{false, true} {
		one, two, all, first, second := "7E8", "7E9", "ATSH7DF", "ATSH7E0", "ATSH7E1"
		said := map[string]string{}
		if wide {
			one, two, all, first, second = "18DAF110", "18DAF118", "ATSHDB33F1", "ATSHDA10F1", "ATSHDA18F1"
			said = map[string]string{"ATDPN": "A7", "0100": "18DAF110064100BE3FB813"}
		}
		p := newPeer(faithful(said))
		a := connected(t, p)
		p.answer = faithful(map[string]string{"010C": one + "04410C0BB8\r" + two + "04410C0BBC"})
		for range 3 {
			_, err := a.Do(t.Context(), askRPM)
			require.NoError(t, err)
		}
		p.sent = nil
		p.answer = func(line string) string {
			switch {
			case line != "0904":
				return faithful(nil)(line)
			case p.last("ATSH") == first:
				return one + "1008490401313233\r" + one + "2134353637"[:6]
			case p.last("ATSH") == second:
				return two + "037F0912"
			}
			return one + "1008490401313233\r" + two + "1008490401313233" // the rest did not fit
		}
		answer, err := a.Do(t.Context(), obd.Info(obd.InfoCalibrations))
		require.NoError(t, err)
		require.Len(t, answer.Messages, 1)
		assert.Equal(t, one, answer.Messages[0].Module.String())
		assert.Len(t, answer.Messages[0].Data, 8)
		require.Len(t, answer.Negatives, 1)
		assert.Equal(t, []string{"0904", "0904", "0904", first, "0904", second, "0904", all}, p.sent)
	}
}

// An adapter that searches is told the protocol once a known car has fallen silent, so that it finds out quickly
// when the car is awake again.
func TestProtocolIsFixedWhenTheCarSleeps(t *testing.T) {
	p := newPeer(faithful(map[string]string{"ATDPN": "A7", "0100": "18DAF110064100BE3FB813"}))
	a := connected(t, p)
	p.answer = faithful(map[string]string{"010C": "CAN ERROR"})
	for range 3 {
		_, err := a.Do(t.Context(), askRPM)
		require.ErrorIs(t, err, CANError)
	}
	assert.Equal(t, []string{"010C", "ATSP7", "010C", "010C"}, p.sent)
}

// What was changed for a while is put back before the next request, even when it was cut short.
func TestSettingsArePutBack(t *testing.T) {
	over := errors.New("the screen was closed")
	for name, test := range map[string]struct {
		at   string   // the line at which the caller gives up
		want []string // sent before the next request
	}{
		"waiting for a promise":    {"ATSTFF", []string{"ATI", "ATST32", "ATAT1", "010C"}},
		"one module after another": {"ATSH7E1", []string{"ATI", "ATSH7DF", "010C"}},
	} {
		p := newPeer(faithful(map[string]string{"010C": "7E804410C0BB8\r7E904410C0BBC"}))
		a := connected(t, p)
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		ctx, cancel := context.WithCancelCause(t.Context())
		p.answer = func(line string) string {
			switch {
			case line == test.at:
				cancel(over)
				return quiet
			case line == "0906" && test.at == "ATSTFF":
				return "7E8037F0978"
			case line == "0906":
				return "7E81008490601112233\r7E91008490601112233"
			}
			return faithful(map[string]string{"010C": "7E804410C0BB8\r7E904410C0BBC"})(line)
		}
		_, err = a.Do(ctx, obd.Info(obd.InfoCVNs))
		require.ErrorIs(t, err, over, name)
		p.sent = nil
		_, err = a.Do(t.Context(), askRPM)
		require.NoError(t, err, name)
		assert.Equal(t, test.want, p.sent, name)
	}
}

// An adapter that is back in front of a sleeping car is back: the request then says that nobody answers.
func TestReconnectToASleepingCar(t *testing.T) {
	p := newPeer(faithful(nil))
	var notices []NoticeKind
	cfg := p.config()
	cfg.Notice = func(n Notice) { notices = append(notices, n.Kind) }
	a, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	p.gone = true
	p.answer = faithful(map[string]string{"0100": "CAN ERROR", "010C": "CAN ERROR"})
	_, err = a.Do(t.Context(), askRPM)
	require.ErrorIs(t, err, CANError)
	assert.Equal(t, []NoticeKind{LinkLost, LinkBack}, notices)
}

// An adapter that cannot address one module says so with a question mark; the damage is what is told.
func TestNoHeaderToSet(t *testing.T) {
	p := newPeer(faithful(map[string]string{"010C": "7E804410C0BB8\r7E904410C0BBC", "0904": "7E81008490401313233", "ATSH7E0": "?", "ATSH7DF": "?"}))
	a := connected(t, p)
	_, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	_, err = a.Do(t.Context(), obd.Info(obd.InfoCalibrations))
	assert.ErrorIs(t, err, Garbled)
	assert.NotErrorIs(t, err, NotUnderstood)
}
