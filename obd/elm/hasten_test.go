package elm

import (
	"context"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// wired is a peer on a serial line: at another speed than the adapter's nothing is understood.
type wired struct {
	*peer
	baud, adapter int // of the port, and of the adapter
	changes       int // what the adapter changes to once its OK is out; 0: it stays
}

func (w *wired) Baud() int              { return w.baud }
func (w *wired) SetBaud(baud int) error { w.baud = baud; w.out = nil; return nil }
func (w *wired) Read(b []byte) (int, error) {
	if w.baud != w.adapter {
		w.out = nil
	}
	n, err := w.peer.Read(b)
	if w.changes > 0 && len(w.out) == 0 {
		w.adapter, w.changes = w.changes, 0
	}
	return n, err
}

// An adapter on a wire is asked for more speed at the user's wish. It says OK, changes, and waits for a carriage return at the
// new speed, else it goes back (ELM327 data sheet, AT BRD); clones do not know it, say OK and stay, or never come back.
func TestHasten(t *testing.T) {
	for name, c := range map[string]struct {
		brd   func(w *wired) string // what the adapter makes of the request
		cr    func(w *wired) string // and of the carriage return
		ends  int
		fails bool
	}{
		"keeps it": {brd: func(w *wired) string { w.changes = 500000; return "OK\r" + quiet },
			cr: func(*wired) string { return "OK" }, ends: 500000},
		"does not know it":  {brd: func(*wired) string { return "?" }, ends: 38400},
		"says OK and stays": {brd: func(*wired) string { return "OK\r" + quiet }, ends: 38400},
		"goes back": {brd: func(w *wired) string { w.changes = 500000; return "OK\r" + quiet },
			cr: func(w *wired) string { w.adapter = 38400; return quiet }, ends: 38400},
		"never comes back": {brd: func(w *wired) string { w.changes = 31250; return "OK\r" + quiet }, fails: true},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(nil)
			w := &wired{peer: p, baud: 38400, adapter: 38400}
			p.answer = func(line string) string {
				switch {
				case w.baud != w.adapter:
					return quiet
				case line == "ATBRD08": // 4,000,000 / 8
					return c.brd(w)
				case line == "" && c.cr != nil:
					return c.cr(w)
				case line == "":
					t.Error("an empty line that nobody waits for")
				}
				return faithful(nil)(line)
			}
			told := 0
			a, err := Connect(t.Context(), Config{Clock: p.clock, Baud: 500000, Hastened: func(b int) { told = b },
				Dial: func(context.Context) (Link, error) { return w, nil }})
			if c.fails {
				require.ErrorIs(t, err, Silent)
				return
			}
			require.NoError(t, err)
			assert.Equal(t, c.ends, w.baud)
			assert.Equal(t, c.ends == 500000, told == 500000)
			answer, err := a.Do(t.Context(), askRPM)
			require.NoError(t, err)
			assert.Equal(t, rpmAnswer, answer.Messages[0].Data)
			asked := 0
			for i, line := range p.sent {
				if strings.HasPrefix(line, "ATBRD") {
					asked++
				}
				if line == "" {
					assert.Equal(t, "ATBRD08", p.sent[i-1], "nothing but the change of speed is repeated by it")
				}
			}
			assert.Equal(t, 1, asked, "what failed is not tried again")
		})
	}
	p := newPeer(faithful(nil)) // without the wish nothing is asked
	w := &wired{peer: p, baud: 38400, adapter: 38400}
	_, err := Connect(t.Context(), Config{Clock: p.clock, Dial: func(context.Context) (Link, error) { return w, nil }})
	require.NoError(t, err)
	assert.NotContains(t, p.sent, "ATBRD08")
}
