package link_test

import (
	"bufio"
	"bytes"
	"errors"
	"net"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/link"
	"stumble/obd/link/linktest"
)

func TestRecorderWritesWhatPlaybackReads(t *testing.T) {
	inner, clk := played(t, recorded)
	var file bytes.Buffer
	r := link.NewRecorder(inner, &file, clk, nil)
	toPrompt(t, r)
	for _, request := range []string{"ATI\r", "010C\r", "010C\r", "0111\r"} {
		answerTo(t, r, clk, request)
	}
	require.NoError(t, r.Close())
	assert.Equal(t, `# recorded 2026-11-25T08:30:00Z
0.250000 < "\xfc\r>"
0.250000 > "ATI\r"
0.270000 < "ELM327"
0.280000 < " v1.4\r\r>"
0.280000 > "010C\r"
0.319000 < "7E8 04 41 0C 0B B8 \r\r>"
0.319000 > "010C\r"
0.369000 < "7E8 04 41 0C 0F A0 \r\r>"
0.369000 > "0111\r"
0.369000 < "?\r\r>"
`, file.String())

	again, clk := played(t, file.String())
	toPrompt(t, again)
	answer, took := answerTo(t, again, clk, "010C\r")
	assert.Equal(t, "7E8 04 41 0C 0B B8 \r\r>", answer)
	assert.Equal(t, 39*time.Millisecond, took)
}

func TestRecorderFlushesEachLine(t *testing.T) {
	inner, clk := played(t, recorded)
	var file bytes.Buffer
	r := link.NewRecorder(inner, bufio.NewWriter(&file), clk, nil)
	assert.Equal(t, 1, strings.Count(file.String(), "\n"))
	answerTo(t, r, clk, "ATI\r")
	assert.Contains(t, file.String(), `> "ATI\r"`+"\n")
}

// fullDisk takes some lines, then none.
type fullDisk struct{ lines, writes int }

var errFull = errors.New("no space left")

func (d *fullDisk) Write(p []byte) (int, error) {
	d.writes++
	if d.lines--; d.lines < 0 {
		return 0, errFull
	}
	return len(p), nil
}

func TestRecorderGoesOnWithoutItsFile(t *testing.T) {
	inner, clk := played(t, recorded)
	disk := &fullDisk{lines: 2}
	var reports []error
	r := link.NewRecorder(inner, disk, clk, func(err error) { reports = append(reports, err) })
	toPrompt(t, r)
	for range 3 {
		answer, _ := answerTo(t, r, clk, "ATI\r")
		assert.Equal(t, "ELM327 v1.4\r\r>", answer)
	}
	require.Len(t, reports, 1)
	assert.ErrorIs(t, reports[0], errFull)
	assert.NotContains(t, reports[0].Error(), "\n")
	assert.Equal(t, 3, disk.writes, "a file that failed is left alone")

	quiet := link.NewRecorder(inner, &fullDisk{}, clk, nil)
	answer, _ := answerTo(t, quiet, clk, "ATI\r")
	assert.Equal(t, "ELM327 v1.4\r\r>", answer)
}

// What ended a recording is in it, where a reader of the file finds it and playback does not mind.
func TestRecorderNotesErrors(t *testing.T) {
	inner, clk := played(t, recorded)
	var file bytes.Buffer
	r := link.NewRecorder(linktest.Faulty(inner, clk, linktest.CutAfter(2)), &file, clk, nil)
	buf := make([]byte, 8)
	require.NoError(t, r.SetReadDeadline(clk.Now().Add(time.Millisecond)))
	_, err := r.Read(buf)
	require.ErrorIs(t, err, os.ErrDeadlineExceeded)
	require.NoError(t, r.SetReadDeadline(time.Time{}))
	_, err = r.Read(buf)
	require.NoError(t, err)
	_, err = r.Read(buf)
	require.ErrorIs(t, err, link.ErrGone)
	_, err = r.Write([]byte("ATI\r"))
	require.ErrorIs(t, err, link.ErrGone)
	require.NoError(t, r.Close())
	_, err = r.Read(buf)
	require.ErrorIs(t, err, net.ErrClosed)
	assert.Equal(t, `# recorded 2026-11-25T08:30:00Z
0.250000 < "\xfc\r"
# after 0.250000 s: the adapter went away
0.250000 > "ATI\r"
# after 0.250000 s: the adapter went away
# after 0.250000 s: use of closed network connection
`, file.String())
}
