package link_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/link"
)

func TestReadRecording(t *testing.T) {
	got, err := link.ReadRecording(strings.NewReader("# recorded by hand\r\n\n" +
		`0.000000 > "0100\r"` + "\n" +
		`  0.0412   <   "7E8 06 \x00\xff\"\\ > #"  ` + "\r\n" +
		`7 < ">"` + "\n" +
		`7.000000001 < "é"`))
	require.NoError(t, err)
	assert.Equal(t, []link.Record{
		{At: 0, Sent: true, Data: []byte("0100\r")},
		{At: 41200 * time.Microsecond, Data: []byte("7E8 06 \x00\xff\"\\ > #")},
		{At: 7 * time.Second, Data: []byte(">")},
		{At: 7*time.Second + 1, Data: []byte("é")},
	}, got)
}

func TestReadRecordingNamesTheDamagedLine(t *testing.T) {
	for line, says := range map[string]string{
		`> "0100\r"`:              `">" is no time in seconds`,
		`-1 > "a"`:                "no time in seconds",
		`1e9 > "a"`:               "no time in seconds",
		`inf > "a"`:               "no time in seconds",
		`0x1 > "a"`:               "no time in seconds",
		`.5 > "a"`:                "no time in seconds",
		`1.0000000001 > "a"`:      "no time in seconds",
		`99999999999 > "a"`:       "too long a time",
		`9`:                       "must be followed by > or <",
		`9 >`:                     "must stand in double quotes",
		`9 = "a"`:                 `not "="`,
		`9 >"a"`:                  "must be followed by > or <",
		`9 > a`:                   "must stand in double quotes",
		"9 > `a`":                 "must stand in double quotes",
		`9 > 'a'`:                 "must stand in double quotes",
		`9 > "a`:                  "not well quoted",
		`9 > "a" "b"`:             "not well quoted",
		`9 > "\q"`:                "not well quoted",
		`9 > ""`:                  "holds no bytes",
		"9 > \"\xff\"":            `must be written as \xNN`,
		`1.5 > "a"`:               "before the line above",
		strings.Repeat("x", 2e6):  "longer than",
		"\x00\x01\x02\x7fELF\x02": "no time in seconds",
	} {
		_, err := link.ReadRecording(strings.NewReader("# first\n2.0 > \"ATI\\r\"\n" + line + "\n"))
		require.Error(t, err, line)
		assert.Contains(t, err.Error(), "recording, line 3: ")
		assert.Contains(t, err.Error(), says)
		assert.NotContains(t, err.Error(), "\n")
	}
}

func TestReadRecordingPassesOnWhatTheFileSays(t *testing.T) {
	broken := errors.New("disk gone")
	_, err := link.ReadRecording(&failingReader{"0.1 > \"a\"\n", broken})
	assert.ErrorIs(t, err, broken)
	assert.Contains(t, err.Error(), "after line 1")
}

// failingReader gives its text, then its error.
type failingReader struct {
	text string
	err  error
}

func (r *failingReader) Read(p []byte) (int, error) {
	if r.text == "" {
		return 0, r.err
	}
	n := copy(p, r.text)
	r.text = r.text[n:]
	return n, nil
}

// Whatever is in a file, it is either refused by the line or says the same again once written.
func FuzzReadRecording(f *testing.F) {
	f.Add("# c\n0.000000 > \"0100\\r\"\n0.0412 < \"41 00\\x00\\r>\"\n")
	f.Add("1 > \"\\u00e9\"\n2.5 < \"a\"")
	f.Add("1.9 < \"a\"\n1.8 < \"b\"")
	f.Fuzz(func(t *testing.T, text string) {
		records, err := link.ReadRecording(strings.NewReader(text))
		if err != nil {
			assert.Contains(t, err.Error(), "recording, line ")
			assert.NotContains(t, err.Error(), "\n")
			return
		}
		var again strings.Builder
		for i := range records {
			again.WriteString(records[i].String() + "\n")
			records[i].At = records[i].At.Truncate(time.Microsecond) // what String tells
		}
		reread, err := link.ReadRecording(strings.NewReader(again.String()))
		require.NoError(t, err)
		assert.Equal(t, records, reread)
	})
}

// A playback of any text answers any request, and at the latest at its deadline gives up.
func FuzzPlayback(f *testing.F) {
	f.Add("0.000000 > \"0100\\r\"\n0.0412 < \"41 00\\x00\\r>\"\n", "01 00\r")
	f.Add("3 < \"hello\"\n4 > \"A\\rB\\r\"\n5 < \"x\"", "a\rb\r\r")
	f.Fuzz(func(t *testing.T, text, requests string) {
		clk := newClock()
		l, err := link.Playback(strings.NewReader(text), clk)
		if err != nil {
			return
		}
		n, err := l.Write([]byte(requests))
		require.NoError(t, err)
		require.Equal(t, len(requests), n)
		require.NoError(t, l.SetReadDeadline(clk.Now().Add(time.Hour)))
		for err == nil {
			n, err = l.Read(make([]byte, 16))
			require.Equal(t, err == nil, n > 0)
		}
		require.NoError(t, l.Close())
	})
}
