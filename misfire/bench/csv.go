package bench

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// Columns of a table of readings, in any order. kind and value must be there; cylinder where the kind is of each.
const (
	columnKind     = "kind"
	columnCylinder = "cylinder"
	columnValue    = "value" // with its unit, unless unit tells it
	columnUnit     = "unit"
	columnLength   = "length" // of a wire
	columnVariant  = "variant"
	columnMaker    = "maker"
)

// mostTable is how long a table may be, in bytes: some ten thousand readings.
const mostTable = 1 << 20

// ReadTable reads a CSV table of readings whose first line names its columns; parted by semicolons where the first line
// is. Lines that begin with # are passed over. cylinders is how many the engine has, 0 when it is not known. A wrong
// line is an error that names it, and nothing is returned.
func ReadTable(from io.Reader, cylinders int) ([]Reading, error) {
	data, err := io.ReadAll(io.LimitReader(from, mostTable+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("the table cannot be read: %w", err)
	case len(data) > mostTable:
		return nil, errors.New("the table is longer than a megabyte: give the readings of one job")
	}
	t := newTable(bytes.TrimPrefix(data, []byte("\ufeff")), cylinders)
	if err := t.header(); err != nil {
		return nil, err
	}
	var all []Reading
	for {
		r, err := t.next()
		switch {
		case errors.Is(err, io.EOF) && len(all) == 0:
			return nil, errors.New("there is no reading in the table: write a line for each below the first")
		case errors.Is(err, io.EOF):
			return all, nil
		case err != nil:
			return nil, err
		}
		all = append(all, r...)
	}
}

// table is a CSV table being read.
type table struct {
	lines     *csv.Reader
	cylinders int
	columns   []string
}

func newTable(data []byte, cylinders int) *table {
	t := &table{lines: csv.NewReader(bytes.NewReader(data)), cylinders: cylinders}
	t.lines.Comment, t.lines.TrimLeadingSpace = '#', true
	for line := range bytes.Lines(data) {
		if line = bytes.TrimSpace(line); len(line) > 0 && line[0] != '#' {
			if bytes.ContainsRune(line, ';') && !bytes.ContainsRune(line, ',') {
				t.lines.Comma = ';'
			}
			break
		}
	}
	return t
}

// wrong is an error with the number of its line.
func wrong(line int, err error) error { return fmt.Errorf("line %d: %w", line, err) }

func (t *table) header() error {
	names, err := t.lines.Read()
	if errors.Is(err, io.EOF) {
		return errors.New("the table is empty: its first line names the columns, as kind,cylinder,value,length")
	}
	if err != nil {
		return malformed(err)
	}
	line, _ := t.lines.FieldPos(0)
	known := []string{columnKind, columnCylinder, columnValue, columnUnit, columnLength, columnVariant, columnMaker}
	for _, name := range names {
		name = strings.ToLower(strings.TrimSpace(name))
		switch {
		case !slices.Contains(known, name):
			return wrong(line, fmt.Errorf("there is no column %q: the first line names some of %s", shortened(name), strings.Join(known, ", ")))
		case slices.Contains(t.columns, name):
			return wrong(line, fmt.Errorf("the column %s is named twice", name))
		}
		t.columns = append(t.columns, name)
	}
	for _, name := range []string{columnKind, columnValue} {
		if !slices.Contains(t.columns, name) {
			return wrong(line, fmt.Errorf("the column %s is missing: the first line names the columns, as kind,cylinder,value,length", name))
		}
	}
	return nil
}

// malformed is an error of the table's form.
func malformed(err error) error {
	var parse *csv.ParseError
	if errors.As(err, &parse) {
		return wrong(parse.Line, fmt.Errorf("%w: write as many fields as the first line has columns, one with a comma in quotes", parse.Err))
	}
	return err
}

// next is what the next line tells; io.EOF after the last.
func (t *table) next() ([]Reading, error) {
	fields, err := t.lines.Read()
	if errors.Is(err, io.EOF) {
		return nil, err
	}
	if err != nil {
		return nil, malformed(err)
	}
	line, _ := t.lines.FieldPos(0)
	row := make(map[string]string, len(fields))
	for i, name := range t.columns {
		row[name] = strings.TrimSpace(fields[i])
	}
	r, err := t.reading(row)
	if err != nil {
		return nil, wrong(line, err)
	}
	return r, nil
}

// reading is what a line tells.
func (t *table) reading(row map[string]string) ([]Reading, error) {
	k, err := FindKind(row[columnKind])
	if err != nil {
		return nil, err
	}
	e := Entry{Kind: k, Cylinders: t.cylinders}
	if text := row[columnVariant]; text != "" {
		if e.Variant, err = k.ParseVariant(text); err != nil {
			return nil, err
		}
	}
	if text := row[columnMaker]; text != "" {
		if e.Maker, err = k.ParseMaker(text); err != nil {
			return nil, err
		}
	}
	value, err := valueOf(&e, row)
	if err != nil {
		return nil, err
	}
	cylinder := row[columnCylinder]
	switch {
	case k.Each && cylinder == "":
		return nil, fmt.Errorf("the cylinder of the %s is missing", k.Name)
	case !k.Each && (cylinder == "" || cylinder == "0"):
		return e.Value(0, value)
	}
	return e.Parse(cylinder + "=" + value)
}

// valueOf is the value of a line with its unit and length, as it would be typed.
func valueOf(e *Entry, row map[string]string) (string, error) {
	value, unit, length := row[columnValue], row[columnUnit], row[columnLength]
	if e.Kind.dimension != words && strings.Contains(value, "@") {
		return "", fmt.Errorf("%q: a length has a column of its own, length", shortened(value))
	}
	if unit != "" && !isOpen(value) {
		m, err := parseMeasured(value)
		switch {
		case e.Kind.dimension == words:
			return "", fmt.Errorf("%s is told in words: leave the unit out", e.Kind.Name)
		case err != nil:
			return "", err
		case m.unit != "":
			return "", fmt.Errorf("%q has its unit already: leave one of them out", shortened(value))
		}
		value += unit
	}
	switch {
	case length == "":
		return value, nil
	case e.Kind.Part != Wire:
		return "", fmt.Errorf("%q: only a wire has a length: leave it out", shortened(length))
	}
	return value + "@" + length, nil
}
