package engine

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// maxTable is the largest table Load reads, in bytes: thousands of engines.
const maxTable = 1 << 20

// Fault is something wrong, or worth a second look, in a table of layouts.
type Fault struct {
	Line  int    // from 1; 0 when it is not in one line
	Field string // column name; "" when it is not in one field
	Err   error  // what is wrong and what to do
}

func (f *Fault) Error() string {
	where := make([]string, 0, 2)
	if f.Line > 0 {
		where = append(where, "line "+strconv.Itoa(f.Line))
	}
	if f.Field != "" {
		where = append(where, f.Field)
	}
	if len(where) == 0 {
		return f.Err.Error()
	}
	return strings.Join(where, ", ") + ": " + f.Err.Error()
}

// Unwrap returns what is wrong.
func (f *Fault) Unwrap() error { return f.Err }

// Load reads a table of layouts: comma-separated values (RFC 4180), UTF-8, one engine a line, the first line
// naming the columns in any order. Lines that start with # are passed over.
//
//		key,name,firing_order,banks,pairs,note
//		my-v6,V6 of the blue van,1-4-2-5-3-6,1 2 3 / 4 5 6,1+5 2+6 3+4,label under the bonnet
//
//	  - key: what to type; letters, digits and hyphens, unlike any other in the table
//	  - firing_order: every cylinder once, 1 first, joined by hyphens
//	  - name, note, source: free text; may be left out
//	  - cylinders: may be left out; when given it must agree with the firing order
//	  - banks: cylinders of a bank in the order they stand, banks parted by a slash; bank 1 holds cylinder 1; may be left out
//	  - pairs: companions joined by a plus sign; may be left out
//
// The first fault ends the reading and comes back as a *Fault. Warnings are *Faults too: pairs that are not
// those of Companions, which happens on odd-firing engines but is more often a slip.
func Load(r io.Reader) (layouts []Layout, warnings []*Fault, err error) {
	text, err := io.ReadAll(io.LimitReader(r, maxTable+1))
	if err != nil {
		return nil, nil, fmt.Errorf("reading the table of engine layouts: %w", err)
	}
	if len(text) > maxTable {
		return nil, nil, &Fault{Err: errors.New("the table of engine layouts is larger than 1 MiB: keep only the engines you need")}
	}
	lines := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\xef\xbb\xbf")))) // spreadsheets write a byte order mark
	lines.Comment = '#'
	lines.TrimLeadingSpace = true

	t := loader{csv: lines, keys: make(map[string]int)}
	if err := t.header(); err != nil {
		return nil, nil, err
	}
	for {
		l, ok, err := t.next()
		if err != nil {
			return nil, nil, err
		}
		if !ok {
			break
		}
		layouts = append(layouts, l)
	}
	if len(layouts) == 0 {
		return nil, nil, &Fault{Err: errors.New("the table of engine layouts names no engine: add a line below the column names")}
	}
	return layouts, t.warnings, nil
}

// loader reads one table.
type loader struct {
	csv      *csv.Reader
	columns  []string
	keys     map[string]int // lower case, to the line it was first seen in
	warnings []*Fault
}

func columnNames() []string {
	return []string{"key", "name", "cylinders", "firing_order", "banks", "pairs", "note", "source"}
}

func (t *loader) header() error {
	record, err := t.record()
	if errors.Is(err, io.EOF) {
		return &Fault{Err: errors.New("the table of engine layouts is empty: start it with a line of column names, key,firing_order at least")}
	}
	if err != nil {
		return err
	}
	line, _ := t.csv.FieldPos(0)
	for _, name := range record {
		name = strings.ToLower(strings.TrimSpace(name))
		switch {
		case strings.Contains(name, ";"):
			return &Fault{Line: line, Err: errors.New("columns are parted by semicolons: save the table with commas")}
		case !slices.Contains(columnNames(), name):
			return &Fault{Line: line, Err: fmt.Errorf("unknown column %q: columns are %s", name, strings.Join(columnNames(), ", "))}
		case slices.Contains(t.columns, name):
			return &Fault{Line: line, Err: fmt.Errorf("column %q stands twice: keep one", name)}
		}
		t.columns = append(t.columns, name)
	}
	for _, need := range []string{"key", "firing_order"} {
		if !slices.Contains(t.columns, need) {
			return &Fault{Line: line, Err: fmt.Errorf("no column %q: add it", need)}
		}
	}
	return nil
}

// record is the next line of the table, with faults of the comma-separated form in our words.
func (t *loader) record() ([]string, error) {
	record, err := t.csv.Read()
	var parse *csv.ParseError
	switch {
	case errors.As(err, &parse) && errors.Is(err, csv.ErrFieldCount):
		return nil, &Fault{Line: parse.Line, Err: fmt.Errorf("%d fields where the first line names %d columns: quote a field that holds a comma", len(record), len(t.columns))}
	case errors.As(err, &parse):
		return nil, &Fault{Line: parse.Line, Err: fmt.Errorf("%w: put a field with quotes or commas in quotes, its own quotes doubled", parse.Err)}
	}
	return record, err
}

func (t *loader) next() (Layout, bool, error) {
	record, err := t.record()
	if errors.Is(err, io.EOF) {
		return Layout{}, false, nil
	}
	if err != nil {
		return Layout{}, false, err
	}
	line, _ := t.csv.FieldPos(0)
	field := func(name string) string {
		if i := slices.Index(t.columns, name); i >= 0 {
			return strings.TrimSpace(record[i])
		}
		return ""
	}
	l, fault := parseLayout(field)
	if fault == nil {
		fault = t.claim(l.Key, line)
	}
	if fault != nil {
		fault.Line = line
		return Layout{}, false, fault
	}
	if len(l.Pairs) > 0 && !samePairs(l.Pairs, Companions(l.FiringOrder)) {
		t.warnings = append(t.warnings, &Fault{line, "pairs", companionWarning(l)})
	}
	return l, true, nil
}

// claim takes a key for a line.
func (t *loader) claim(key string, line int) *Fault {
	key = strings.ToLower(key)
	if first, taken := t.keys[key]; taken {
		return &Fault{Field: "key", Err: fmt.Errorf("%q is taken by line %d: choose another", key, first)}
	}
	t.keys[key] = line
	return nil
}

// parseLayout makes a layout of one line's fields; a fault has its field but no line yet.
func parseLayout(field func(name string) string) (Layout, *Fault) {
	l := Layout{Key: field("key"), Name: field("name"), Note: field("note"), Source: field("source")}
	if !validKey(l.Key) {
		return l, &Fault{Field: "key", Err: fmt.Errorf("%q will not do: use letters, digits and hyphens, with at least one letter", l.Key)}
	}
	if l.Name == "" {
		l.Name = l.Key
	}
	var err error
	if l.FiringOrder, err = parseOrder(field("firing_order")); err != nil {
		return l, &Fault{Field: "firing_order", Err: err}
	}
	l.Cylinders = len(l.FiringOrder)
	if n := field("cylinders"); n != "" && n != strconv.Itoa(l.Cylinders) {
		return l, &Fault{Field: "cylinders", Err: fmt.Errorf("%q, but the firing order has %d cylinders: correct one of them", n, l.Cylinders)}
	}
	if l.Banks, err = parseBanks(field("banks"), l.Cylinders); err != nil {
		return l, &Fault{Field: "banks", Err: err}
	}
	if l.Pairs, err = parsePairs(field("pairs"), l.Cylinders); err != nil {
		return l, &Fault{Field: "pairs", Err: err}
	}
	return l, nil
}

// validKey wants a letter, so that a plain number stays free to mean "so many cylinders".
func validKey(key string) bool {
	letter := false
	for _, r := range key {
		switch {
		case 'a' <= r && r <= 'z', 'A' <= r && r <= 'Z':
			letter = true
		case '0' <= r && r <= '9', r == '-':
		default:
			return false
		}
	}
	return letter
}

// samePairs compares pairs whatever their order.
func samePairs(a, b [][2]int) bool {
	if len(a) != len(b) {
		return false
	}
	for _, p := range a {
		if !slices.Contains(b, [2]int{min(p[0], p[1]), max(p[0], p[1])}) {
			return false
		}
	}
	return true
}

func companionWarning(l Layout) error {
	rule := Layout{Pairs: Companions(l.FiringOrder)}.Row().Pairs
	if rule == "" {
		rule = "none"
	}
	return fmt.Errorf("%s, but the firing order makes the companions %s: check both (an odd-firing engine may differ)", l.Row().Pairs, rule)
}
