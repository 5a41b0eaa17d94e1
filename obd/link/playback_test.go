package link_test

import (
	"io"
	"os"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// recorded is a short talk in which one request comes twice.
const recorded = `
# an adapter that babbles at first
0.250000 < "\xfc\r>"
1.000000 > "ATI\r"
1.020000 < "ELM327"
1.030000 < " v1.4\r\r>"
2.000000 > "01"
2.001000 > "0C\r"
2.040000 < "7E8 04 41 0C 0B B8 \r\r>"
3.000000 > "010C\r"
3.050000 < "7E8 04 41 0C 0F A0 \r\r>"
4.000000 > "0105\r"
`

// played is an open playback on a stepped clock.
func played(t *testing.T, recording string, options ...link.PlaybackOption) (link.Link, *clock.Stepped) {
	t.Helper()
	clk := newClock()
	l, err := link.Playback(strings.NewReader(recording), clk, options...)
	require.NoError(t, err)
	t.Cleanup(func() { _ = l.Close() })
	return l, clk
}

// answerTo sends a request and reads to the prompt; it also tells how long that took on the clock.
func answerTo(t *testing.T, l io.ReadWriter, clk clock.Clock, request string) (string, time.Duration) {
	t.Helper()
	began := clk.Now()
	_, err := io.WriteString(l, request)
	require.NoError(t, err)
	return toPrompt(t, l), clk.Now().Sub(began)
}

func toPrompt(t *testing.T, r io.Reader) string {
	t.Helper()
	var got []byte
	buf := make([]byte, 64)
	for !strings.HasSuffix(string(got), ">") {
		n, err := r.Read(buf)
		require.NoError(t, err)
		got = append(got, buf[:n]...)
	}
	return string(got)
}

func TestPlaybackAnswersAsRecorded(t *testing.T) {
	l, clk := played(t, recorded)
	began := clk.Now()
	assert.Equal(t, "\xFC\r>", toPrompt(t, l), "what came unasked comes unasked")
	assert.Equal(t, 250*time.Millisecond, clk.Now().Sub(began))

	for _, exchange := range []struct {
		request, answer string
		took            time.Duration
	}{
		{"010C\r", "7E8 04 41 0C 0B B8 \r\r>", 39 * time.Millisecond},
		{"ATI\r", "ELM327 v1.4\r\r>", 30 * time.Millisecond},
		{"at i\r", "ELM327 v1.4\r\r>", 30 * time.Millisecond}, // no later one was recorded
		{"01 0c\r", "7E8 04 41 0C 0F A0 \r\r>", 50 * time.Millisecond},
		{"010C\r", "7E8 04 41 0C 0F A0 \r\r>", 50 * time.Millisecond},
		{"0111\r", "?\r\r>", 0},
		{"\r", "?\r\r>", 0},
	} {
		answer, took := answerTo(t, l, clk, exchange.request)
		assert.Equal(t, exchange.answer, answer, exchange.request)
		assert.Equal(t, exchange.took, took, exchange.request)
	}
}

func TestPlaybackGivesThePiecesThatCame(t *testing.T) {
	l, _ := played(t, recorded)
	toPrompt(t, l)
	_, err := io.WriteString(l, "ATI\r")
	require.NoError(t, err)
	buf := make([]byte, 64)
	n, err := l.Read(buf)
	require.NoError(t, err)
	assert.Equal(t, "ELM327", string(buf[:n]))
	n, err = l.Read(buf[:2])
	require.NoError(t, err)
	assert.Equal(t, " v", string(buf[:n]))
	assert.Equal(t, "1.4\r\r>", toPrompt(t, l))
}

func TestPlaybackAtOnceLeavesOutTheDelays(t *testing.T) {
	l, clk := played(t, recorded, link.AtOnce())
	began := clk.Now()
	toPrompt(t, l)
	answer, _ := answerTo(t, l, clk, "ATI\r")
	assert.Equal(t, "ELM327 v1.4\r\r>", answer)
	assert.Equal(t, began, clk.Now())
}

func TestPlaybackOfSilenceIsSilent(t *testing.T) {
	l, clk := played(t, recorded)
	toPrompt(t, l)
	_, err := io.WriteString(l, "0105\r")
	require.NoError(t, err)
	limit := clk.Now().Add(200 * time.Millisecond)
	require.NoError(t, l.SetReadDeadline(limit))
	_, err = l.Read(make([]byte, 8))
	assert.ErrorIs(t, err, os.ErrDeadlineExceeded)
	assert.Equal(t, limit, clk.Now())
}

// An answer later than the deadline is not lost: it comes before that of the next request, as from a
// real adapter.
func TestPlaybackAnswersLate(t *testing.T) {
	l, clk := played(t, recorded)
	toPrompt(t, l)
	_, err := io.WriteString(l, "010C\r")
	require.NoError(t, err)
	require.NoError(t, l.SetReadDeadline(clk.Now().Add(10*time.Millisecond)))
	_, err = l.Read(make([]byte, 8))
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	require.NoError(t, l.SetReadDeadline(time.Time{}))
	answer, took := answerTo(t, l, clk, "ATI\r")
	assert.Equal(t, "7E8 04 41 0C 0B B8 \r\r>", answer)
	assert.Equal(t, 29*time.Millisecond, took)
	assert.Equal(t, "ELM327 v1.4\r\r>", toPrompt(t, l))
}

func TestPlaybackTakesRequestsInPiecesAndTogether(t *testing.T) {
	l, _ := played(t, recorded, link.AtOnce())
	toPrompt(t, l)
	for _, piece := range []string{"0", "1\x000", "C", "\rAT", "I\r\n"} {
		_, err := io.WriteString(l, piece)
		require.NoError(t, err)
	}
	assert.Equal(t, "7E8 04 41 0C 0B B8 \r\r>", toPrompt(t, l))
	assert.Equal(t, "ELM327 v1.4\r\r>", toPrompt(t, l))
}

func TestPlaybackForgetsARequestWithoutEnd(t *testing.T) {
	l, clk := played(t, recorded, link.AtOnce())
	toPrompt(t, l)
	answer, _ := answerTo(t, l, clk, strings.Repeat("01", 1<<20)+"\r")
	assert.Equal(t, "?\r\r>", answer)
	answer, _ = answerTo(t, l, clk, "ATI\r")
	assert.Equal(t, "ELM327 v1.4\r\r>", answer)
}

func TestPlaybackOfADamagedFile(t *testing.T) {
	l, err := link.Playback(strings.NewReader("0.1 > \"a\n"), newClock())
	assert.Nil(t, l)
	assert.ErrorContains(t, err, "line 1")
}

func TestPlaybackTakesItsTimeOnTheSystemsClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		l, err := link.Playback(strings.NewReader(recorded), clock.System{})
		require.NoError(t, err)
		defer l.Close()
		toPrompt(t, l)
		_, took := answerTo(t, l, clock.System{}, "ATI\r")
		assert.Equal(t, 30*time.Millisecond, took)

		// A request written while a Read waits wakes it.
		go func() {
			clock.System{}.SleepUntil(clock.System{}.Now().Add(time.Second), nil)
			_, _ = io.WriteString(l, "010C\r")
		}()
		began := clock.System{}.Now()
		assert.Equal(t, "7E8 04 41 0C 0B B8 \r\r>", toPrompt(t, l))
		assert.Equal(t, 1039*time.Millisecond, clock.System{}.Now().Sub(began))
	})
}
