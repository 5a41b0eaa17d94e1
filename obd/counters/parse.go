package counters

import (
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"stumble/obd"
)

// RowError says what is wrong with a table, and where. Column is empty where the whole line is meant.
type RowError struct {
	Line   int
	Column string
	Why    error
}

func (e *RowError) Error() string {
	if e.Column == "" {
		return fmt.Sprintf("line %d: %v", e.Line, e.Why)
	}
	return fmt.Sprintf("line %d, column %s: %v", e.Line, e.Column, e.Why)
}

// Unwrap returns why.
func (e *RowError) Unwrap() error { return e.Why }

const (
	mostCylinders = 16
	mostText      = 1 << 16 // of a table; a longer file is something else
	mostWidth     = 4       // bytes of a count
	mostByte      = 255     // place of a byte in an answer
)

// columns are the names of the header row; the first three must be there.
var columns = [...]string{"cylinder", "request", "bytes", "header", "signed", "factor", "kind", "wrap"} // never written to

const needed = 3

// Parse reads a table. The error is a RowError.
func Parse(text string) (Table, error) {
	if len(text) > mostText {
		return nil, &RowError{Line: 1, Why: errors.New("is no table of counters: it is too long")}
	}
	r := csv.NewReader(strings.NewReader(strings.TrimPrefix(text, "\ufeff")))
	r.Comment, r.TrimLeadingSpace, r.FieldsPerRecord = '#', true, -1
	head, err := r.Read()
	if err != nil {
		return nil, unread(err, 1, "the table is empty: its first line names the columns, as in cylinder,request,bytes")
	}
	line, _ := r.FieldPos(0)
	at, err := placed(head, line)
	if err != nil {
		return nil, err
	}
	var t Table
	for {
		fields, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, unread(err, line, "cannot be read")
		}
		line, _ = r.FieldPos(0)
		c, err := row{fields, at, line}.counter()
		if err != nil {
			return nil, err
		}
		if err := t.fits(&c, line); err != nil {
			return nil, err
		}
		t = append(t, c)
	}
	if len(t) == 0 {
		return nil, &RowError{Line: line, Why: errors.New("no counter follows the names of the columns")}
	}
	slices.SortFunc(t, func(a, b Counter) int { return a.Cylinder - b.Cylinder })
	return t, nil
}

// unread is what the CSV reader found, on one line.
func unread(err error, line int, otherwise string) error {
	var p *csv.ParseError
	if errors.As(err, &p) {
		return &RowError{Line: p.Line, Why: fmt.Errorf("is no line of a CSV table: %w", p.Err)}
	}
	return &RowError{Line: line, Why: errors.New(otherwise)}
}

// placed is where each column stands.
func placed(head []string, line int) (map[string]int, error) {
	at := map[string]int{}
	for i, name := range head {
		name = strings.ToLower(strings.TrimSpace(name))
		switch _, twice := at[name]; {
		case !slices.Contains(columns[:], name):
			return nil, &RowError{line, "", fmt.Errorf("%q is no column; there are %s", name, strings.Join(columns[:], ", "))}
		case twice:
			return nil, &RowError{line, name, errors.New("is there twice")}
		}
		at[name] = i
	}
	for _, name := range columns[:needed] {
		if _, there := at[name]; !there {
			return nil, &RowError{line, name, fmt.Errorf("is missing: every table has %s", strings.Join(columns[:needed], ", "))}
		}
	}
	return at, nil
}

// fits checks a row against those before it.
func (t Table) fits(c *Counter, line int) error {
	for i := range t {
		switch old := &t[i]; {
		case old.Cylinder == c.Cylinder:
			return &RowError{line, "cylinder", fmt.Errorf("cylinder %d has a counter already", c.Cylinder)}
		case old.Kind != c.Kind:
			return &RowError{line, "kind", fmt.Errorf("one table has one kind, and the lines before say %v", old.Kind)}
		}
	}
	return nil
}

// row is one line of the table.
type row struct {
	fields []string
	at     map[string]int
	line   int
}

// field is the text of a column, empty where the line or the table has none.
func (r row) field(name string) string {
	i, there := r.at[name]
	if !there || i >= len(r.fields) {
		return ""
	}
	return strings.TrimSpace(r.fields[i])
}

func (r row) wrong(column, why string, args ...any) error {
	return &RowError{r.line, column, fmt.Errorf(why, args...)}
}

func (r row) counter() (c Counter, err error) {
	if len(r.fields) > len(r.at) {
		return c, r.wrong("", "has %d fields, the first line names %d", len(r.fields), len(r.at))
	}
	for _, read := range [...]func(*Counter) error{r.cylinder, r.request, r.header, r.bytes, r.signed, r.factor, r.kind, r.wrap} {
		if err := read(&c); err != nil {
			return c, err
		}
	}
	return c, nil
}

func (r row) cylinder(c *Counter) error {
	n, err := strconv.Atoi(r.field("cylinder"))
	if err != nil || n < 1 || n > mostCylinders {
		return r.wrong("cylinder", "%q is no cylinder: say 1 to %d", r.field("cylinder"), mostCylinders)
	}
	c.Cylinder = n
	return nil
}

// request reads what is sent. Services that only read are allowed, and of those three: nothing that writes, drives an
// actuator or opens a session.
func (r row) request(c *Counter) error {
	text := r.field("request")
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	switch {
	case err != nil || len(b) == 0:
		return r.wrong("request", "%q is no request: write its bytes in hexadecimal, as in 21 30", text)
	case len(b) > obd.MaxRequest:
		return r.wrong("request", "%q has %d bytes, a request holds %d", text, len(b), obd.MaxRequest)
	}
	c.Component = -1
	switch service := obd.Service(b[0]); {
	case service == obd.LocalData && len(b) >= 2, service == obd.DataByID && len(b) >= 3:
		c.Request = obd.NewRequest(service, b[1:]...)
	case service == obd.TestResults && len(b) == 3:
		c.Request, c.Component = obd.Test(b[1]), int(b[2])
	case service == obd.TestResults:
		return r.wrong("request", "%q is to name a test and its component, as in 06 53 02", text)
	case service == obd.LocalData, service == obd.DataByID:
		return r.wrong("request", "%q lacks an identifier", text)
	default:
		return r.wrong("request", "service %02X may not be sent: a counter is read by 21, 22 or 06", b[0])
	}
	return nil
}

func (r row) header(c *Counter) error {
	text := strings.ToUpper(strings.ReplaceAll(r.field("header"), " ", ""))
	hexadecimal := !strings.ContainsFunc(text, func(r rune) bool { return !strings.ContainsRune("0123456789ABCDEF", r) })
	if len(text) != 0 && len(text) != 3 && len(text) != 6 || !hexadecimal {
		return r.wrong("header", "%q is no header: three or six hexadecimal digits, as in 7E0 or 8110F1", r.field("header"))
	}
	c.Header = text
	return nil
}

func (r row) bytes(c *Counter) error {
	first, last, several := strings.Cut(r.field("bytes"), "-")
	from, err := strconv.Atoi(strings.TrimSpace(first))
	to := from
	if several && err == nil {
		to, err = strconv.Atoi(strings.TrimSpace(last))
	}
	switch {
	case err != nil || from < 1 || to < from || to > mostByte:
		return r.wrong("bytes", "%q names no bytes: say which, from 1, behind what the answer repeats, as in 3 or 1-2", r.field("bytes"))
	case to-from >= mostWidth:
		return r.wrong("bytes", "%q is %d bytes, a count has %d at most", r.field("bytes"), to-from+1, mostWidth)
	}
	c.From, c.To = from, to
	return nil
}

func (r row) signed(c *Counter) error {
	switch strings.ToLower(r.field("signed")) {
	case "yes":
		c.Signed = true
	case "no", "":
	default:
		return r.wrong("signed", "%q: say yes or no", r.field("signed"))
	}
	return nil
}

func (r row) factor(c *Counter) error {
	c.Factor = 1
	if r.field("factor") == "" {
		return nil
	}
	f, err := strconv.ParseFloat(r.field("factor"), 64)
	if err != nil || !(f > 0) || math.IsInf(f, 0) || f > 1e6 || f < 1e-6 {
		return r.wrong("factor", "%q is no factor: a number above 0, as in 1 or 0.39", r.field("factor"))
	}
	c.Factor = f
	return nil
}

func (r row) kind(c *Counter) error {
	text := strings.ToLower(r.field("kind"))
	if text == "" {
		return nil
	}
	i := slices.Index(kinds[:], text)
	if i < 0 {
		return r.wrong("kind", "%q is no kind; there are %s", text, strings.Join(kinds[:], ", "))
	}
	c.Kind = Kind(i)
	return nil
}

func (r row) wrap(c *Counter) error {
	text := r.field("wrap")
	if text == "" {
		return nil
	}
	n, err := strconv.ParseUint(text, 10, 64)
	most := math.Pow(256, float64(c.To-c.From+1))
	switch {
	case err != nil || n < 2 || float64(n) > most:
		return r.wrong("wrap", "%q: say at which raw number the counter begins again at 0, 2 to %.0f", text, most)
	case !c.Kind.Adds():
		return r.wrong("wrap", "a counter of kind %v does not go round", c.Kind)
	case c.Signed:
		return r.wrong("wrap", "a signed counter does not go round")
	}
	c.Wrap = float64(n)
	return nil
}
