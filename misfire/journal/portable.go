package journal

import (
	"bufio"
	"compress/gzip"
	"context"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
)

// A job on its way to another journal is a gzip file of JSON lines:
//
//	{"stumble_job":1}                       the version of the schema
//	{"table":"vehicles","row":{…}}          a row, its columns by name
//	…
//	{"end":12}                              how many rows there were
//
// Rows come parents first. Their ids hold within the file. INTEGER and REAL are numbers (an infinite REAL is the text
// "+Inf" or "-Inf"), NULL is null, TEXT is text, BLOB is text in base64.
type (
	portableHead struct {
		Version int `json:"stumble_job"`
	}
	portableRow struct {
		Table string         `json:"table"`
		Row   map[string]any `json:"row"`
	}
	portableLine struct {
		portableRow
		End *int `json:"end,omitempty"`
	}
)

// Limits of an exported job: some fifty hours of drives.
const (
	mostPortable = 512 << 20 // bytes, uncompressed
	mostLine     = 8 << 20
	mostRows     = 200_000
)

var errTooLargeToTake = errors.New("the job is too large for one file: delete drives that are not needed")

// column is a column of a table, as the schema declares it.
type column struct{ name, kind string }

// querier is a pool, connection or transaction.
type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
}

func columnsIn(ctx context.Context, q querier, table string) (all []column, err error) {
	rows, err := q.QueryContext(ctx, "SELECT name, type FROM pragma_table_info(?)", table)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for rows.Next() {
		var c column
		if err := rows.Scan(&c.name, &c.kind); err != nil {
			return nil, err
		}
		all = append(all, c)
	}
	return all, rows.Err()
}

// ExportJob writes a job with all under it to w, for ImportJob on another computer. A job with a drive that is being
// recorded is refused. The file's layout is told in portable.go.
func (j *Journal) ExportJob(id int64, w io.Writer) error {
	if _, err := j.Job(id); err != nil {
		return err
	}
	db, err := j.reader()
	if err != nil {
		return err
	}
	ctx := context.Background()
	t, err := db.BeginTx(ctx, &sql.TxOptions{ReadOnly: true}) // one state of the file, whoever writes meanwhile
	if err != nil {
		return j.readFailed(err)
	}
	defer func() { _ = t.Rollback() }()
	var recording int64
	err = t.QueryRowContext(ctx, "SELECT id FROM drives WHERE job_id = ? AND state = 'recording'", id).Scan(&recording)
	if !errors.Is(err, sql.ErrNoRows) {
		return j.readFailed(recordingError(err, recording))
	}
	packed := gzip.NewWriter(w)
	x := exporter{ctx: ctx, t: t, to: bufio.NewWriter(packed)}
	if err := x.job(id); err != nil {
		return j.readFailed(err)
	}
	return errors.Join(x.to.Flush(), packed.Close())
}

type exporter struct {
	ctx         context.Context
	t           *sql.Tx
	to          *bufio.Writer
	rows, bytes int
}

func (x *exporter) job(id int64) error {
	if err := x.line(portableHead{Version: len(migrations())}); err != nil {
		return err
	}
	for _, table := range tables() {
		which := "job_id = ?"
		switch table {
		case "vehicles":
			which = "id = (SELECT vehicle_id FROM jobs WHERE id = ?)"
		case "jobs":
			which = "id = ?"
		case "samples", "exchanges", "marks":
			which = "drive_id IN (SELECT id FROM drives WHERE job_id = ?)"
		}
		if err := x.table(table, which, id); err != nil {
			return err
		}
	}
	return x.line(map[string]int{"end": x.rows})
}

func (x *exporter) table(name, which string, job int64) error {
	columns, err := columnsIn(x.ctx, x.t, name)
	if err != nil {
		return err
	}
	rows, err := x.t.QueryContext(x.ctx, "SELECT * FROM "+name+" WHERE "+which+" ORDER BY id", job)
	if err != nil {
		return err
	}
	defer rows.Close()
	values, to := make([]any, len(columns)), make([]any, len(columns))
	for i := range values {
		to[i] = &values[i]
	}
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return err
		}
		row := make(map[string]any, len(columns))
		for i, c := range columns {
			row[c.name] = portable(values[i])
		}
		if x.rows++; x.rows > mostRows {
			return errTooLargeToTake
		}
		if err := x.line(portableRow{Table: name, Row: row}); err != nil {
			return err
		}
	}
	return rows.Err()
}

// portable is a value as JSON can hold it.
func portable(v any) any {
	switch v := v.(type) {
	case []byte:
		return base64.StdEncoding.EncodeToString(v)
	case float64:
		if math.IsInf(v, 0) {
			return strconv.FormatFloat(v, 'g', -1, 64)
		}
	}
	return v
}

func (x *exporter) line(v any) error {
	text, err := json.Marshal(v)
	if err != nil {
		return err
	}
	if x.bytes += len(text) + 1; x.bytes > mostPortable || len(text) > mostLine {
		return errTooLargeToTake
	}
	_, err = x.to.Write(append(text, '\n'))
	return err
}

// readPortable reads an exported job whole, and checks its frame. What it returns is what anybody may have written.
func readPortable(r io.Reader) ([]portableRow, error) {
	unpacked, err := gzip.NewReader(r)
	if err != nil {
		return nil, errNotPortable
	}
	limited := &io.LimitedReader{R: unpacked, N: mostPortable + 1}
	lines := bufio.NewScanner(limited)
	lines.Buffer(nil, mostLine+1)
	if err := readHead(lines); err != nil {
		return nil, err
	}
	var rows []portableRow
	for lines.Scan() {
		var line portableLine
		err := unmarshalLine(lines.Bytes(), &line)
		if lines.Err() != nil {
			break // the line was the last that could be had, and not whole
		}
		if err != nil {
			return nil, fmt.Errorf("line %d of the exported job cannot be read: %w", len(rows)+2, err)
		}
		if line.End != nil {
			if *line.End != len(rows) || lines.Scan() || lines.Err() != nil {
				return nil, errCutPortable
			}
			return rows, nil
		}
		if rows = append(rows, line.portableRow); len(rows) > mostRows {
			return nil, errTooLargeToTake
		}
	}
	if limited.N <= 0 || errors.Is(lines.Err(), bufio.ErrTooLong) {
		return nil, errTooLargeToTake
	}
	return nil, errCutPortable
}

var (
	errNotPortable = errors.New("this is not an exported job: give a file that export wrote")
	errCutPortable = errors.New("the exported job is not whole: copy it again")
)

func readHead(lines *bufio.Scanner) error {
	var head portableHead
	if !lines.Scan() || json.Unmarshal(lines.Bytes(), &head) != nil || head.Version < 1 {
		return errNotPortable
	}
	if head.Version > len(migrations()) {
		return fmt.Errorf("the exported job: %w; use that version", ErrNewer)
	}
	return nil
}
