package export

import (
	"bufio"
	"encoding/csv"
	"encoding/json"
	"io"
	"reflect"
	"strconv"

	"github.com/parquet-go/parquet-go"
)

// Row is a row of one of the tables.
type Row interface{ Sample | Window | Cell }

// Writer writes the rows of one table. Call Close at the end: without it the last rows are missing, and a Parquet
// file cannot be opened at all.
type Writer[R Row] struct {
	rows  int
	write func([]R) error
	close func() error
}

// NewWriter begins a table. Its errors are those of w.
func NewWriter[R Row](w io.Writer, f Format) (*Writer[R], error) {
	switch f {
	case JSONL:
		return newLines[R](w), nil
	case Parquet:
		return newParquet[R](w), nil
	}
	return newCSV[R](w)
}

// Write adds rows.
func (w *Writer[R]) Write(rows []R) error {
	w.rows += len(rows)
	return w.write(rows)
}

// Rows is how many were written.
func (w *Writer[R]) Rows() int { return w.rows }

// Close writes what is still held back. It leaves the underlying writer open.
func (w *Writer[R]) Close() error { return w.close() }

func newLines[R Row](w io.Writer) *Writer[R] {
	buffer := bufio.NewWriter(w)
	e := json.NewEncoder(buffer)
	e.SetEscapeHTML(false)
	return &Writer[R]{close: buffer.Flush, write: func(rows []R) error {
		for i := range rows {
			if err := e.Encode(&rows[i]); err != nil {
				return err
			}
		}
		return nil
	}}
}

func newParquet[R Row](w io.Writer) *Writer[R] {
	const rowGroup = 1 << 17 // rows held in memory at a time
	p := parquet.NewGenericWriter[R](w, parquet.Compression(&parquet.Snappy), parquet.MaxRowsPerRowGroup(rowGroup))
	return &Writer[R]{close: p.Close, write: func(rows []R) error {
		_, err := p.Write(rows)
		return err
	}}
}

func newCSV[R Row](w io.Writer) (*Writer[R], error) {
	c := csv.NewWriter(w)
	if err := c.Write(columns[R]()); err != nil {
		return nil, err
	}
	var fields []string
	flush := func() error {
		c.Flush()
		return c.Error()
	}
	return &Writer[R]{close: flush, write: func(rows []R) error {
		for i := range rows {
			fields = appendFields(fields[:0], reflect.ValueOf(&rows[i]).Elem())
			if err := c.Write(fields); err != nil {
				return err
			}
		}
		return nil
	}}, nil
}

// columns are the names of a table's columns, in order.
func columns[R Row]() (names []string) {
	t := reflect.TypeFor[R]()
	for i := range t.NumField() {
		names = append(names, t.Field(i).Tag.Get("json"))
	}
	return names
}

// appendFields adds the fields of a row as CSV has them.
func appendFields(dst []string, row reflect.Value) []string {
	for i := range row.NumField() {
		v := row.Field(i)
		if v.Kind() == reflect.Pointer {
			if v.IsNil() {
				dst = append(dst, "")
				continue
			}
			v = v.Elem()
		}
		dst = append(dst, field(v))
	}
	return dst
}

func field(v reflect.Value) string {
	if m, ok := v.Interface().(Micros); ok {
		return m.String()
	}
	switch v.Kind() {
	case reflect.Bool:
		return strconv.FormatBool(v.Bool())
	case reflect.Float64:
		return number(v.Float())
	case reflect.Int64:
		return strconv.FormatInt(v.Int(), 10)
	}
	return v.String()
}
