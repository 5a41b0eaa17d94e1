package link

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Record is a run of bytes that crossed a link, one line of a recording.
//
// A recording is plain text, made to be read and written by hand as well:
//
//	# recorded 2026-11-25T08:30:00Z
//	0.000000 > "0100\r"
//	0.041200 < "7E8 06 41 00 BE 3F B8 13 \r"
//	0.043100 < "\r>"
//
// Each line holds the seconds since the recording began (up to nine decimals, never less than on the line
// before), > for bytes to the adapter or < for bytes from it, and the bytes in double quotes, written as
// a Go string literal: \r, \x00, \". Blanks part the three. Empty lines and lines that begin with # say
// nothing. A run may end anywhere, also inside a word; at least one byte is in it.
type Record struct {
	At   time.Duration
	Sent bool // to the adapter
	Data []byte
}

// maxRecordLine bounds a line of a recording: far more than a link ever reads at once.
const maxRecordLine = 1 << 20

// String is the record's line, without a line feed.
func (r Record) String() string {
	way := '<'
	if r.Sent {
		way = '>'
	}
	return fmt.Sprintf("%d.%06d %c %s", r.At/time.Second, r.At%time.Second/time.Microsecond, way,
		strconv.QuoteToASCII(string(r.Data)))
}

// ReadRecording reads a whole recording. A line that is damaged is an error that names it.
func ReadRecording(r io.Reader) ([]Record, error) {
	var records []Record
	lines := bufio.NewScanner(r)
	lines.Buffer(nil, maxRecordLine)
	last := time.Duration(0)
	number := 0
	for lines.Scan() {
		number++
		line := strings.TrimSpace(lines.Text())
		if line == "" || line[0] == '#' {
			continue
		}
		record, err := parseRecord(line)
		if err == nil && record.At < last {
			err = errors.New("its time is before the line above")
		}
		if err != nil {
			return nil, fmt.Errorf("recording, line %d: %w; mend or remove the line", number, err)
		}
		last = record.At
		records = append(records, record)
	}
	if err := lines.Err(); errors.Is(err, bufio.ErrTooLong) {
		return nil, fmt.Errorf("recording, line %d: longer than %d bytes; this is not a recording", number+1, maxRecordLine)
	} else if err != nil {
		return nil, fmt.Errorf("recording, after line %d: %w", number, err)
	}
	return records, nil
}

func parseRecord(line string) (Record, error) {
	at, rest, _ := strings.Cut(line, " ")
	way, quoted, _ := strings.Cut(strings.TrimSpace(rest), " ")
	offset, err := parseOffset(at)
	if err != nil {
		return Record{}, err
	}
	if way != ">" && way != "<" {
		return Record{}, fmt.Errorf("the time must be followed by > or <, not %.20q", way)
	}
	quoted = strings.TrimSpace(quoted)
	if quoted == "" || quoted[0] != '"' {
		return Record{}, fmt.Errorf("the bytes must stand in double quotes, not as %.20q", quoted)
	}
	if !utf8.ValidString(quoted) {
		return Record{}, errors.New(`a byte beyond ASCII must be written as \xNN`)
	}
	data, err := strconv.Unquote(quoted)
	if err != nil {
		return Record{}, fmt.Errorf("the bytes %.40q are not well quoted", quoted)
	}
	if data == "" {
		return Record{}, errors.New("it holds no bytes")
	}
	return Record{At: offset, Sent: way == ">", Data: []byte(data)}, nil
}

// parseOffset reads seconds with up to nine decimals, exactly; a float would neither be exact nor refuse
// "1e9", "inf" and the like.
func parseOffset(s string) (time.Duration, error) {
	whole, decimals, _ := strings.Cut(s, ".")
	if len(decimals) > 9 || !digits(whole) || decimals != "" && !digits(decimals) {
		return 0, fmt.Errorf("%.20q is no time in seconds", s)
	}
	n, err := strconv.ParseInt(whole+decimals+strings.Repeat("0", 9-len(decimals)), 10, 64)
	if err != nil || n == math.MaxInt64 {
		return 0, fmt.Errorf("%.20q seconds is too long a time", s)
	}
	return time.Duration(n), nil
}

func digits(s string) bool {
	return s != "" && strings.Trim(s, "0123456789") == ""
}
