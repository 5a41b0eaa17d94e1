package journal

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
)

// jobLines are the rows of a job that version 1 exported, a gzip file of JSON lines:
//
//	{"stumble_job":1}                       the version of the schema
//	{"table":"vehicles","row":{…}}          a row, its columns by name
//	…
//	{"end":12}                              how many rows there were
//
// Rows come parents first. INTEGER and REAL are numbers (an infinite REAL is the text "+Inf" or "-Inf"), NULL is null,
// TEXT is text, BLOB is text in base64.
type jobLines []jobLine

type jobLine struct {
	Table string         `json:"table"`
	Row   map[string]any `json:"row"`
	End   *int           `json:"end"`
}

// Limits of such a file, in bytes, uncompressed.
const (
	mostLines = 512 << 20
	mostLine  = 8 << 20
)

// readJobLines reads such a file whole, and checks its frame. What it returns is what anybody may have written.
func readJobLines(r io.Reader) (rows jobLines, err error) {
	unzipped, err := gzip.NewReader(r)
	if err != nil {
		return nil, errNoJobFile
	}
	limited := &io.LimitedReader{R: unzipped, N: mostLines + 1}
	lines := bufio.NewScanner(limited)
	lines.Buffer(nil, mostLine+1)
	if err := readHead(lines); err != nil {
		return nil, err
	}
	for lines.Scan() {
		var line jobLine
		err := unmarshalLine(lines.Bytes(), &line)
		if lines.Err() != nil {
			break // the line was the last that could be had, and not whole
		}
		if err != nil {
			return nil, fmt.Errorf("line %d of the exported job cannot be read: %w", len(rows)+2, err)
		}
		if line.End != nil {
			if *line.End != len(rows) || lines.Scan() || lines.Err() != nil {
				return nil, errCutJobFile
			}
			return rows, nil
		}
		if rows = append(rows, line); len(rows) > mostRows {
			return nil, errTooMuch
		}
	}
	if limited.N <= 0 || errors.Is(lines.Err(), bufio.ErrTooLong) {
		return nil, errTooMuch
	}
	return nil, errCutJobFile
}

func readHead(lines *bufio.Scanner) error {
	var head struct {
		Version int `json:"stumble_job"`
	}
	if !lines.Scan() || json.Unmarshal(lines.Bytes(), &head) != nil || head.Version < 1 {
		return errNoJobFile
	}
	if head.Version > 1 {
		return fmt.Errorf("the exported job: %w; use that version", ErrNewer)
	}
	return nil
}

// unmarshalLine is json.Unmarshal that keeps whole numbers whole and refuses what it does not know.
func unmarshalLine(data []byte, to any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	d.DisallowUnknownFields()
	return d.Decode(to)
}

// each gives the rows to an importer.
func (l jobLines) each(m *importer) error {
	columns, newer := make(map[string][]column), sinceVersion1()
	for _, table := range tables() {
		known, err := columnsIn(m.t.ctx, m.t.conn, table.name)
		if err != nil {
			return err
		}
		columns[table.name] = slices.DeleteFunc(known, func(c column) bool { return slices.Contains(newer[table.name], c.name) })
	}
	for i, line := range l {
		where := fmt.Sprintf("line %d", i+2)
		row, err := line.convert(columns)
		if err != nil {
			return fmt.Errorf("%s of the exported job does not fit: %w", where, err)
		}
		if err := m.put(row, where); err != nil {
			return err
		}
	}
	return nil
}

// sinceVersion1 are the columns of each table that version 1 did not have.
func sinceVersion1() map[string][]string {
	return map[string][]string{
		"samples": {"form"}, "exchanges": {"form"}, "jobs": {"touched", "touched_ns"}, "intakes": {"after_drive"},
		"notes": {"kind", "part", "cylinder", "other", "written_ns", "after_drive", "version_of", "until_ns"},
	}
}

// convert gives the row's values in the order and types of its columns, and refuses any that are missing or too many.
func (l jobLine) convert(known map[string][]column) (*copied, error) {
	columns, ok := known[l.Table]
	switch {
	case !ok:
		return nil, fmt.Errorf("there is no table %q", l.Table)
	case len(l.Row) != len(columns):
		return nil, fmt.Errorf("it has %d columns, not %d", len(l.Row), len(columns))
	}
	row := &copied{table: l.Table, columns: columns, values: make([]any, len(columns))}
	for i, c := range columns {
		v, ok := l.Row[c.name]
		if !ok {
			return nil, fmt.Errorf("it has no %s", c.name)
		}
		if v == nil {
			continue // the schema says whether it may be
		}
		if row.values[i], ok = c.value(v); !ok {
			return nil, fmt.Errorf("its %s is no %s", c.name, c.kind)
		}
	}
	if l.Table == "drives" {
		row.set("protocol", protocolCode(protocolOf(row.text("protocol"))))
	}
	return row, nil
}

// value is a value of JSON in the column's type.
func (c column) value(v any) (any, bool) {
	number, isNumber := v.(json.Number)
	text, isText := v.(string)
	switch c.kind {
	case "INTEGER":
		n, err := strconv.ParseInt(string(number), 10, 64)
		return n, isNumber && err == nil
	case "REAL":
		if isText {
			f, err := strconv.ParseFloat(text, 64)
			return f, err == nil && math.IsInf(f, 0)
		}
		f, err := number.Float64()
		return f, isNumber && err == nil
	case "BLOB":
		data, err := base64.StdEncoding.DecodeString(text)
		return data, isText && err == nil
	}
	return text, isText
}
