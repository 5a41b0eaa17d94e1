package elm

import (
	"context"
	"errors"
	"fmt"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd"
	"stumble/obd/clock"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// Every status of the ELM327 data sheet (pages 87-89) and the forms older adapters print.
func TestStatuses(t *testing.T) {
	for text, want := range map[string]*Status{
		"NO DATA": NoData, "NODATA": NoData, "?": NotUnderstood,
		"UNABLE TO CONNECT": NoVehicle, "SEARCHING...UNABLE TO CONNECT": NoVehicle,
		"CAN ERROR": CANError, "BUS INIT: ...ERROR": BusInitError, "BUS INIT: ERROR": BusInitError, "BUSINIT:...ERROR": BusInitError,
		"BUS BUSY": BusBusy, "BUS ERROR": BusError, "FB ERROR": FeedbackError, "DATA ERROR": DataError,
		"7E8 04 41 0C 0B <DATA ERROR": DamagedLine, "7E8 04 41 <RX ERROR": DamagedFrame,
		"BUFFER FULL": BufferFull, "STOPPED": Stopped, "ACT ALERT": ActivityAlert, "!ACT ALERT": ActivityAlert,
		"LP ALERT": LowPower, "!LP ALERT": LowPower, "LV RESET": LowVoltageReset,
		"ERR94": InternalError, "ERR71": InternalError, "ELM327 v1.5": Rebooted, "OK": OutOfStep, "41 0C 0B C~": Garbled,
	} {
		line := strings.ToUpper(strings.ReplaceAll(text, " ", ""))
		data, got := word([]byte(line))
		assert.Same(t, want, got, text)
		assert.Empty(t, data, text)
		assert.NotEmpty(t, got.Hint, text)
		assert.NotContains(t, got.Error()+got.Hint, "\n")
	}
}

func TestProgressIsNoStatus(t *testing.T) {
	for text, want := range map[string]string{
		"SEARCHING...": "", "SEARCHING...7E8064100BE3FB813": "7E8064100BE3FB813",
		"BUSINIT:...OK": "", "BUSINIT:OK": "", "BUSINIT:...OK486B104100B87B301077": "486B104100B87B301077",
	} {
		data, status := word([]byte(text))
		assert.Nil(t, status, text)
		assert.Equal(t, want, string(data), text)
	}
}

// What is done about each status: the request that meets it once, and what is sent because of it.
func TestRemedies(t *testing.T) {
	again := []string{"010C", "010C"}
	inStep := []string{"010C", "ATI", "010C"} // that prompt may have been another's
	restart := []string{"010C", "ATI", "ATWS", "ATE0", "ATL0", "ATS0", "ATCAF1", "ATAT1", "ATH1", "ATSP6", "0100", "010C"}
	for text, want := range map[string][]string{
		"STOPPED": inStep, "ACT ALERT": inStep, "7E803410D00": inStep,
		"DATA ERROR": again, "7E804410C0B<DATA ERROR": again, "7E80441<RX ERROR": again,
		"7E8 04 41 0C 0B C": again, // a character lost on the way
		"LV RESET":          restart, "LP ALERT": restart, "ELM327 v1.4b": restart, "OK": restart,
		"ERR94": append([]string{"010C", "ATI", "ATFE"}, restart[1:]...), // which CAN stays off without (data sheet, error messages)
	} {
		t.Run(text, func(t *testing.T) {
			p := newPeer(faithful(nil))
			a := connected(t, p)
			first := true
			p.answer = func(line string) string {
				if strings.HasPrefix(line, "010C") && first {
					first = false
					return text
				}
				return faithful(nil)(line)
			}
			answer, err := a.Do(t.Context(), askRPM)
			require.NoError(t, err)
			assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
			assert.Equal(t, want, p.sent)
		})
	}
}

// What cannot be helped without a person, or is simply so, comes back as it is.
func TestErrorsThatStay(t *testing.T) {
	for text, want := range map[string]*Status{
		"NO DATA": NoData, "CAN ERROR": CANError, "BUS BUSY": BusBusy, "BUS ERROR": BusError, "FB ERROR": FeedbackError,
		"BUFFER FULL": BufferFull, "?": NotUnderstood, "STOPPED": Stopped, "DATA ERROR": DataError,
	} {
		p := newPeer(faithful(nil))
		a := connected(t, p)
		p.answer = faithful(map[string]string{"010C": text})
		_, err := a.Do(t.Context(), askRPM)
		assert.ErrorIs(t, err, want)
		assert.Contains(t, err.Error(), "010C", "the request is named")
	}
}

// All shapes in which clones print one and the same answer.
func TestShapes(t *testing.T) {
	for name, text := range map[string]string{
		"plain":            "7E804410C0BB8",
		"spaces":           "7E8 04 41 0C 0B B8 ",
		"padded":           "7E804410C0BB8AAAAAA",
		"lower case":       "7e8 04 41 0c 0b b8",
		"echo":             "010C\r7E804410C0BB8",
		"echo, line feeds": "010C\r\n7E804410C0BB8\r\n",
		"NUL bytes":        "\x007E8\x00044\x0010C0BB8\x00",
		"line noise":       "\xfe7E804\xff410C0BB8\x80",
		"searching first":  "SEARCHING...\r7E804410C0BB8",
		"searching glued":  "SEARCHING...7E804410C0BB8",
		"blank lines":      "\r\r7E804410C0BB8\r\r",
		"late answer":      "7E803410D00\r7E804410C0BB8",
		"another refuses":  "7E9037F0112\r7E804410C0BB8",
		"an alert beside":  "7E804410C0BB8\rACT ALERT",
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(faithful(nil))
			a := connected(t, p)
			p.answer = faithful(map[string]string{"010C": text})
			answer, err := a.Do(t.Context(), askRPM)
			if name == "an alert beside" { // asked again until it is clean, then given up
				assert.ErrorIs(t, err, ActivityAlert)
				return
			}
			require.NoError(t, err)
			require.Len(t, answer.Messages, 1)
			assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
			assert.Equal(t, "7E8", answer.Messages[0].Module.String())
		})
	}
}

// A second prompt belongs to the command before; an answer that comes with it is not this one's.
func TestDoublePrompt(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	p.answer = faithful(map[string]string{"010C": ">\r7E804410C0BB8\r\r>"})
	for range 3 {
		answer, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
	}
}

func TestSeveralModules(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	p.answer = faithful(map[string]string{"010C": "7E804410C0BB8\r7E904410C0BBC"})
	answer, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	require.Len(t, answer.Messages, 2)
	assert.Equal(t, "7E9", answer.Messages[1].Module.String())
}

// A message with a frame missing is asked for again; beside a whole one it is left out and said.
func TestMissingFrame(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	first := true
	p.answer = func(string) string {
		if first {
			first = false
			return "7E8 10 14 49 02 01 31 44 34\r7E8 22 42 31 32 33 34 35 36"
		}
		return "7E8 10 14 49 02 01 31 44 34\r7E8 21 47 50 30 30 52 35 35\r7E8 22 42 31 32 33 34 35 36"
	}
	answer, err := a.Do(t.Context(), obd.Info(obd.InfoVIN))
	require.NoError(t, err)
	assert.Len(t, answer.Messages[0].Data, 20)

	p.answer = func(string) string { return "7E804410C0BB8\r7E91014490201314434" }
	answer, err = a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Len(t, answer.Messages, 1)
	assert.Error(t, answer.Faults)
}

func TestRefusals(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	p.answer = faithful(map[string]string{"010C": "7E8037F0111"})
	_, err := a.Do(t.Context(), askRPM)
	var refused obd.NegativeResponse
	require.ErrorAs(t, err, &refused)
	assert.True(t, refused.Unsupported())
	assert.Equal(t, []string{"010C"}, p.sent, "a refusal is not argued with")

	p.sent = nil
	p.answer = func(line string) string { // busy twice, then well
		if len(p.sent) < 3 {
			return "7E8037F0121"
		}
		return faithful(nil)(line)
	}
	before := p.clock.Now()
	_, err = a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.GreaterOrEqual(t, p.clock.Now().Sub(before), 2*busyPause, "a busy module is given time")
}

// 7F xx 78: the answer is still coming. The adapter is made to wait longer and asked until it is there.
func TestResponsePending(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	asked := 0
	p.answer = func(line string) string {
		if !strings.HasPrefix(line, "0906") {
			return faithful(nil)(line)
		}
		if asked++; asked < 4 {
			return "7E8037F0978"
		}
		return "7E807490601AABBCCDD"
	}
	answer, err := a.Do(t.Context(), obd.Info(obd.InfoCVNs))
	require.NoError(t, err)
	assert.Equal(t, []byte{0x49, 0x06, 0x01, 0xAA, 0xBB, 0xCC, 0xDD}, answer.Messages[0].Data)
	assert.Equal(t, []string{"0906", "ATAT0", "ATSTFF", "0906", "0906", "0906", "ATST32", "ATAT1"}, p.sent)

	p.answer = faithful(map[string]string{"0906": "7E8037F0978"}) // a promise that is not kept
	before := p.clock.Now()
	_, err = a.Do(t.Context(), obd.Info(obd.InfoCVNs))
	var refused obd.NegativeResponse
	require.ErrorAs(t, err, &refused)
	assert.True(t, refused.Pending())
	assert.GreaterOrEqual(t, p.clock.Now().Sub(before), pendingLimit)
}

// The count of lines is learnt from answers that agree, used, and given up where it is not known.
func TestLineCount(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	for range 4 {
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	assert.Equal(t, []string{"010C", "010C", "010C1", "010C1"}, p.sent)

	p.sent = nil
	p.clock.Advance(countLifetime + time.Second)
	_, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, []string{"010C"}, p.sent, "waited out once in a while: a module may have begun to speak")

	p.sent = nil
	p.answer = func(line string) string { // two modules now; told to wait for one line, one is all there is
		if strings.HasPrefix(line, "010C") && !strings.HasSuffix(line, "C1") {
			return "7E804410C0BB8\r7E904410C0BBC"
		}
		return faithful(nil)(line)
	}
	p.clock.Advance(countLifetime + time.Second)
	for range 3 {
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	assert.Contains(t, p.sent, "010C2")

	early := newPeer(nil)
	early.answer = func(line string) string {
		if strings.HasPrefix(line, "010C") && len(line) == 5 {
			return "?"
		}
		return faithful(nil)(line)
	}
	b := connected(t, early)
	for range 5 {
		_, err := b.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	assert.Equal(t, []string{"010C", "010C", "010C1", "010C", "ATAT2", "010C", "010C"}, early.sent, "refused once, never sent again; it is made to wait less instead")
}

// Some adapters say NO DATA now and then to a request with a count digit, and answer it without (adapter-faults sheet,
// row 13): it is asked again without at once, and after the second time never with.
func TestDigitThatFails(t *testing.T) {
	p := newPeer(nil)
	p.answer = func(line string) string {
		if strings.HasPrefix(line, "010C") && len(line) == 5 {
			return "NO DATA"
		}
		return faithful(nil)(line)
	}
	a := connected(t, p)
	for range 8 {
		answer, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
	}
	assert.Equal(t, 2, p.count("010C1"))

	mute := newPeer(nil) // thinks about it for longer than anybody waits
	mute.answer = func(line string) string {
		if strings.HasPrefix(line, "010C") && len(line) == 5 {
			return quiet
		}
		return faithful(nil)(line)
	}
	a = connected(t, mute)
	for range 8 {
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	assert.Equal(t, 1, mute.count("010C1"))
}

// An adapter without a count digit waits less by its own measure, until an answer does not come: then it waits as before.
func TestHurry(t *testing.T) {
	p := newPeer(nil)
	silent := false
	p.answer = func(line string) string {
		switch {
		case len(line) == 5 && strings.HasPrefix(line, "010C"):
			return "?"
		case silent && line == "010C":
			return "NO DATA"
		}
		return faithful(nil)(line)
	}
	a := connected(t, p)
	for range 5 {
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	silent = true
	_, err := a.Do(t.Context(), askRPM)
	require.ErrorIs(t, err, NoData)
	silent = false
	for range 3 {
		_, err = a.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	assert.Equal(t, 1, p.count("ATAT2"))
	assert.Equal(t, 1, p.count("ATAT1"))
	assert.Equal(t, "ATAT1", p.last("ATAT"))
}

// Modules slower than the adapter waits are found by its longest wait, after a reset, once; a protocol that it was told in
// vain may have left it deaf (rows 9 and 11 of the adapter-faults sheet).
func TestFoundAfterAReset(t *testing.T) {
	for name, deaf := range map[string]func(p *peer) bool{
		"slow modules": func(p *peer) bool { return p.last("ATST") != "ATSTFF" && p.last("ATST") != "ATST96" },
		"sulks":        func(p *peer) bool { return p.last("ATSP") != "ATSP0" || p.since("ATSP6", "ATWS") },
	} {
		p := newPeer(nil)
		p.answer = func(line string) string {
			if !strings.HasPrefix(line, "AT") && deaf(p) {
				return "NO DATA"
			}
			return faithful(nil)(line)
		}
		a, err := Connect(t.Context(), p.config())
		require.NoError(t, err, name)
		_, err = a.Do(t.Context(), askRPM)
		require.NoError(t, err, name)
		assert.Equal(t, 2, p.count("ATWS"), name)
		assert.Equal(t, "ATST96", p.last("ATST"), "what found it is kept, but for the longest of it")
	}
}

// since reports whether a line was sent after another was last.
func (p *peer) since(line, after string) bool {
	for i := len(p.sent) - 1; i >= 0 && p.sent[i] != after; i-- {
		if p.sent[i] == line {
			return true
		}
	}
	return false
}

// A module that only refuses is nobody's engine (row 19), and lines from addresses of no OBD scheme spoil nothing once they
// have come again and again (row 22).
func TestStrangersAndRefusals(t *testing.T) {
	p := newPeer(faithful(map[string]string{"0100": "7EC037F017F\r7E8064100BE3FB813"}))
	a, err := Connect(t.Context(), p.config())
	require.NoError(t, err)
	assert.Equal(t, obd.CAN11At500, a.Protocol())
	p.answer = faithful(map[string]string{"010C": "7E804410C0BB8\r7F004410C0BB8\r6F104410C0BB8"})
	for range 2 {
		answer, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		require.Len(t, answer.Messages, 1)
	}
	assert.Equal(t, []obd.Module{{ID: 0x7F0, Bits: 11}, {ID: 0x6F1, Bits: 11}}, a.Strangers())

	p = newPeer(faithful(map[string]string{"0100": "7EC037F017F"}))
	_, err = Connect(t.Context(), p.config())
	require.ErrorIs(t, err, NoVehicle)
}

func TestWholeWait(t *testing.T) {
	p := newPeer(faithful(nil))
	cfg := p.config()
	cfg.WholeWait = true
	a, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	p.sent = nil
	for range 4 {
		_, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
	}
	assert.NotContains(t, p.sent, "010C1")
}

// Silence in the middle of a drive is treated like a pulled plug: the link is opened anew.
func TestSilenceReconnects(t *testing.T) {
	p := newPeer(faithful(nil))
	dials := 0
	cfg := p.config()
	dial := cfg.Dial
	var notices []NoticeKind
	cfg.Dial = func(ctx context.Context) (Link, error) { dials++; return dial(ctx) }
	cfg.Notice = func(n Notice) { notices = append(notices, n.Kind) }
	a, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	for _, dead := range []string{quiet, "7E804410C" + quiet} {
		notices = nil
		p.answer = func(line string) string {
			if dials > 1 {
				return faithful(nil)(line)
			}
			return dead
		}
		dials = 1
		answer, err := a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
		assert.Equal(t, []NoticeKind{LinkLost, LinkBack}, notices)
	}
}

// An adapter that answers everything but one request ends that request, not the dialogue.
func TestOneRequestStaysSilent(t *testing.T) {
	p := newPeer(faithful(map[string]string{"010C": quiet}))
	a := connected(t, p)
	_, err := a.Do(t.Context(), askRPM)
	assert.ErrorIs(t, err, Silent)
	_, err = a.Do(t.Context(), obd.Live(0))
	assert.NoError(t, err)
}

func TestReconnectBacksOff(t *testing.T) {
	p := newPeer(faithful(nil))
	var waits []time.Duration
	var last time.Time
	attempts := 0
	cfg := p.config()
	dial := cfg.Dial
	cfg.Dial = func(ctx context.Context) (Link, error) {
		if attempts++; attempts > 1 {
			waits = append(waits, p.clock.Now().Sub(last))
			last = p.clock.Now()
		}
		if attempts > 1 && attempts < 9 {
			return nil, errors.New("no such port")
		}
		return dial(ctx)
	}
	a, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	p.gone, last = true, p.clock.Now()
	answer, err := a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
	ms := func(n int) time.Duration { return time.Duration(n) * time.Millisecond }
	assert.Equal(t, []time.Duration{ms(250), ms(500), ms(1000), ms(2000), ms(4000), ms(5000), ms(5000), ms(5000)}, waits)
}

func TestPatienceEnds(t *testing.T) {
	p := newPeer(faithful(nil))
	cfg := p.config()
	cfg.Patience = 10 * time.Second
	dial := cfg.Dial
	lost := false
	cfg.Dial = func(ctx context.Context) (Link, error) {
		if lost {
			return nil, errors.New("no such port")
		}
		return dial(ctx)
	}
	a, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	p.gone, lost = true, true
	_, err = a.Do(t.Context(), askRPM)
	assert.ErrorIs(t, err, error(errGone))
	assert.Contains(t, err.Error(), "did not come back within 10s")
}

// With a real pipe: the end of the context, and Close from elsewhere, make a request under way return.
func TestRequestsEnd(t *testing.T) {
	for name, end := range map[string]func(*Adapter, context.CancelCauseFunc){
		"context": func(_ *Adapter, cancel context.CancelCauseFunc) { cancel(errors.New("time is up")) },
		"close":   func(a *Adapter, _ context.CancelCauseFunc) { a.Close() },
	} {
		t.Run(name, func(t *testing.T) {
			ours, theirs := net.Pipe()
			defer theirs.Close()
			asked := make(chan string, 100)
			go serve(theirs, func(line string) string {
				asked <- line
				if line == "010C" {
					return quiet
				}
				return faithful(nil)(line)
			})
			a, err := Connect(t.Context(), Config{Clock: clock.System{}, Dial: func(context.Context) (Link, error) { return ours, nil }})
			require.NoError(t, err)
			defer a.Close()
			ctx, cancel := context.WithCancelCause(t.Context())
			defer cancel(nil)
			done := make(chan error, 1)
			go func() {
				_, err := a.Do(ctx, askRPM)
				done <- err
			}()
			for line := range asked {
				if line == "010C" {
					break
				}
			}
			end(a, cancel)
			assert.Error(t, <-done)
		})
	}
}

// serve answers lines on a real pipe until it is closed.
func serve(conn net.Conn, answer func(string) string) {
	var line []byte
	b := make([]byte, 256)
	for {
		n, err := conn.Read(b)
		if err != nil {
			return
		}
		for _, c := range b[:n] {
			if c != '\r' {
				line = append(line, c)
				continue
			}
			text := answer(string(line))
			line = line[:0]
			if text == quiet {
				continue
			}
			if _, err := fmt.Fprintf(conn, "%s\r\r>", text); err != nil {
				return
			}
		}
	}
}

func TestForbiddenIsNotSent(t *testing.T) {
	p := newPeer(faithful(nil))
	a := connected(t, p)
	for _, service := range []obd.Service{obd.ClearCodes, 0x05, 0x08, 0x10, 0x2E, 0x31} {
		_, err := a.Do(t.Context(), obd.NewRequest(service))
		assert.ErrorIs(t, err, ErrForbidden)
	}
	assert.Empty(t, p.sent)
}

func TestObserverSeesEverything(t *testing.T) {
	p := newPeer(faithful(map[string]string{"010D": "NO DATA"}))
	var seen []string
	cfg := p.config()
	cfg.Observe = func(e *obd.Exchange) {
		assert.False(t, e.Received.Before(e.Sent))
		seen = append(seen, fmt.Sprintf("%s=%q", e.Request, e.Answer))
	}
	a, err := Connect(t.Context(), cfg)
	require.NoError(t, err)
	_, _ = a.Do(t.Context(), obd.Live(obd.PIDSpeed))
	assert.Equal(t, `ATI="ELM327 v1.4b\r\r"`, seen[0])
	assert.Equal(t, `010D="NO DATA\r\r"`, seen[len(seen)-1])
	assert.Len(t, seen, len(p.sent))
}

// Whatever an adapter prints, a request ends, never panics, and never makes up an answer.
func FuzzAnswer(f *testing.F) {
	for _, text := range []string{"7E804410C0BB8", "NO DATA", "7E8037F0178", "BUS INIT: ...OK\r486B10410C0BB8B2", ">>>", "\x00\xff", "SEARCHING...", "010C\r7E8", quiet, "OK", "STOPPED\r>7E804410C0BB8"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		p := newPeer(faithful(nil))
		cfg := p.config()
		cfg.Patience = time.Second
		a, err := Connect(context.Background(), cfg)
		if err != nil {
			t.Fatal(err)
		}
		p.answer = func(line string) string {
			if strings.HasPrefix(line, "010C") {
				return text
			}
			return faithful(nil)(line)
		}
		p.sent = nil
		answer, err := a.Do(context.Background(), askRPM)
		if err == nil && len(answer.Messages) == 0 {
			t.Error("neither answer nor error")
		}
		for _, m := range answer.Messages {
			if len(m.Data) < 2 || m.Data[0] != 0x41 || m.Data[1] != obd.PIDRPM {
				t.Errorf("% X does not answer 010C", m.Data)
			}
		}
		for _, line := range p.sent {
			if !permitted.MatchString(line) {
				t.Errorf("sent %q", line)
			}
		}
	})
}
