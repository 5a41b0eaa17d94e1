package journal

import (
	"context"
	"database/sql"
	"fmt"
	"slices"
	"strings"
)

// Rows go from one journal file to another in three ways: a job into a file of its own (export.go), such a file into a
// journal (import.go), and what can be read of a damaged file into a new one (salvage.go). All three read here.

// table is a table of the schema.
type table struct {
	name  string
	ofJob string // which rows are a job's, whose id is ?
}

// tables are those of the schema, parents first.
func tables() []table {
	const underJob, underDrive = "job_id = ?", "drive_id IN (SELECT id FROM drives WHERE job_id = ?)"
	return []table{
		{"vehicles", "id = (SELECT vehicle_id FROM jobs WHERE id = ?)"},
		{"jobs", "id = ?"},
		{"notes", underJob}, {"intakes", underJob}, {"drives", underJob},
		{"samples", underDrive}, {"exchanges", underDrive}, {"marks", underDrive},
		{"bench", underJob}, {"verdicts", underJob},
		{"known", "? IS NULL"}, // of no job: it stays where it is
	}
}

// column is a column of a table, as the schema declares it.
type column struct{ name, kind string }

func namesOf(columns []column) string {
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.name
	}
	return strings.Join(names, ", ")
}

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

// copied is a row on its way from one file to another.
type copied struct {
	table   string
	columns []column // id first
	values  []any    // nil, int64, float64, string or []byte
}

func (r *copied) at(name string) int {
	return slices.IndexFunc(r.columns, func(c column) bool { return c.name == name })
}

func (r *copied) int(name string) int64 {
	if i := r.at(name); i >= 0 {
		n, _ := r.values[i].(int64)
		return n
	}
	return 0
}

func (r *copied) text(name string) string {
	if i := r.at(name); i >= 0 {
		s, _ := r.values[i].(string)
		return s
	}
	return ""
}

func (r *copied) set(name string, v any) { r.values[r.at(name)] = v }

// insertCopy adds a row, with the columns from the given one on: 0 keeps its id, 1 gives it a new one.
func (t tx) insertCopy(verb string, r *copied, from int) (int64, error) {
	columns := r.columns[from:]
	return t.insert(fmt.Sprintf("%s INTO %s (%s) VALUES (?%s)", verb, r.table, namesOf(columns),
		strings.Repeat(", ?", len(columns)-1)), r.values[from:]...)
}

// copier reads rows of one file for another.
type copier struct {
	from querier
	to   tx
	put  func(*copied) error // takes a row, which is good until it returns
}

// common are the columns that a table has in both files, id first.
func (c *copier) common(table string) (both []column, err error) {
	have, err := columnsIn(c.to.ctx, c.from, table)
	if err != nil {
		return nil, err
	}
	want, err := columnsIn(c.to.ctx, c.to.conn, table)
	return slices.DeleteFunc(want, func(w column) bool { return !slices.Contains(have, w) }), err
}

// rows puts the rows of a table that a condition finds, until it ends, cannot be read further (unread), or put's error.
// last is the id of the last one.
func (c *copier) rows(table string, columns []column, condition string, args ...any) (last int64, unread, err error) {
	query := fmt.Sprintf("SELECT %s FROM %s %s", namesOf(columns), table, condition)
	rows, unread := c.from.QueryContext(c.to.ctx, query, args...)
	if unread != nil {
		return 0, unread, nil
	}
	defer rows.Close()
	row := copied{table: table, columns: columns, values: make([]any, len(columns))}
	to := make([]any, len(columns))
	for i := range to {
		to[i] = &row.values[i]
	}
	for rows.Next() {
		if err := rows.Scan(to...); err != nil {
			return last, err, nil
		}
		id, ok := row.values[0].(int64)
		if !ok {
			return last, ErrDamaged, nil
		}
		last = id
		if err := c.put(&row); err != nil {
			return last, nil, err
		}
	}
	return last, rows.Err(), nil
}
