package journal

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"stumble/misfire/engine"
	"stumble/misfire/gear"
)

// Imported says what became of an exported job.
type Imported struct {
	Job    int64 // its number here
	NewJob bool
	Added  int // intakes, drives, notes, bench readings and verdicts that were not here
	Known  int // those that were, and are left as they are
}

func (i Imported) String() string {
	switch {
	case i.NewJob:
		return fmt.Sprintf("job %d is new here, with %d entries", i.Job, i.Added)
	case i.Added == 0:
		return fmt.Sprintf("nothing new: all of it is already here, as job %d", i.Job)
	}
	return fmt.Sprintf("job %d was here already: %d entries are new, %d were known", i.Job, i.Added, i.Known)
}

// ImportJob reads what ExportJob wrote, whole or not at all. A job that is already here takes in what it did not have;
// nothing that is here is changed. The file may be anybody's: what does not fit the schema is refused.
func (j *Journal) ImportJob(r io.Reader) (Imported, error) {
	rows, err := readPortable(r)
	if err != nil {
		return Imported{}, err
	}
	var found Imported
	err = j.write(func(t tx) error {
		m := importer{t: t, ids: make(map[string]map[int64]int64), fresh: make(map[int64]bool), columns: make(map[string][]column)}
		if err := m.all(rows); err != nil {
			return err
		}
		found = m.found
		return nil
	})
	return found, err
}

// importer puts rows into the journal and gives them its own ids.
type importer struct {
	t       tx
	ids     map[string]map[int64]int64 // by table: the id in the file to the id here
	fresh   map[int64]bool             // drives that were not here
	columns map[string][]column
	found   Imported
}

func (m *importer) all(rows []portableRow) error {
	for _, table := range tables() {
		columns, err := columnsIn(m.t.ctx, m.t.conn, table)
		if err != nil {
			return err
		}
		m.columns[table], m.ids[table] = columns, make(map[int64]int64)
	}
	for i := range rows {
		err := m.row(&rows[i])
		if err != nil && kindOf(err) == nil {
			return fmt.Errorf("line %d of the exported job does not fit: %w", i+2, err)
		}
		if err != nil {
			return err
		}
	}
	if m.found.Job == 0 {
		return errors.New("the exported job holds no job: export it again")
	}
	return nil
}

func (m *importer) row(from *portableRow) error {
	columns, known := m.columns[from.Table]
	if !known {
		return fmt.Errorf("there is no table %q", from.Table)
	}
	values, err := convert(columns, from.Row)
	if err != nil {
		return err
	}
	row := imported{table: from.Table, columns: columns, values: values}
	if err := row.check(); err != nil {
		return err
	}
	for i, c := range columns {
		if parent := parents()[c.name]; parent != "" && values[i] != nil {
			id, ok := m.ids[parent][values[i].(int64)]
			if !ok {
				return fmt.Errorf("its %s is not in the file before it", c.name)
			}
			values[i] = id
		}
	}
	old := row.int("id")
	if _, twice := m.ids[from.Table][old]; twice {
		return errors.New("its id was there before")
	}
	id, err := m.place(&row)
	m.ids[from.Table][old] = id
	return err
}

// parents are the tables that columns point to.
func parents() map[string]string {
	return map[string]string{"vehicle_id": "vehicles", "job_id": "jobs", "drive_id": "drives"}
}

// place inserts a row, or finds the one that is the same here.
func (m *importer) place(row *imported) (int64, error) {
	switch row.table {
	case "vehicles":
		return m.vehicle(row)
	case "jobs":
		return m.job(row)
	case "samples", "exchanges", "marks":
		if !m.fresh[row.int("drive_id")] {
			return 0, nil
		}
		return m.insert(row)
	}
	id, err := m.t.id("SELECT id FROM "+row.table+" WHERE uid = ? AND job_id = ?", row.text("uid"), row.int("job_id"))
	if err != nil {
		return 0, err
	}
	if id != 0 {
		m.found.Known++
		return id, nil
	}
	m.found.Added++
	if row.table == "drives" && row.text("state") == string(DriveRecording) {
		row.set("state", string(DriveInterrupted))
	}
	id, err = m.insert(row)
	if row.table == "drives" {
		m.fresh[id] = true
	}
	return id, err
}

// vehicle is the one with the same uid or VIN, left as it is here, or a new one.
func (m *importer) vehicle(row *imported) (int64, error) {
	if len(m.ids["vehicles"]) > 0 {
		return 0, errors.New("there is more than one vehicle")
	}
	id, err := m.t.id("SELECT id FROM vehicles WHERE uid = ?1 OR vin = ?2 AND ?2 <> '' ORDER BY uid = ?1 DESC LIMIT 1", row.text("uid"), row.text("vin"))
	if err != nil || id != 0 {
		return id, err
	}
	return m.insert(row)
}

func (m *importer) job(row *imported) (id int64, err error) {
	if m.found.Job != 0 {
		return 0, errors.New("there is more than one job")
	}
	id, err = m.t.id("SELECT id FROM jobs WHERE uid = ?", row.text("uid"))
	if err == nil && id == 0 {
		m.found.NewJob = true
		id, err = m.insert(row)
	}
	m.found.Job = id
	return id, err
}

// insert adds a row under an id of this file's own.
func (m *importer) insert(row *imported) (int64, error) {
	var names []string
	var values []any
	for i, c := range row.columns {
		if c.name != "id" {
			names, values = append(names, c.name), append(values, row.values[i])
		}
	}
	return m.t.insert(fmt.Sprintf("INSERT INTO %s (%s) VALUES (?%s)", row.table, strings.Join(names, ", "), strings.Repeat(", ?", len(names)-1)), values...)
}

// imported is a row with values of the schema's types.
type imported struct {
	table   string
	columns []column
	values  []any
}

func (r *imported) at(name string) int {
	for i, c := range r.columns {
		if c.name == name {
			return i
		}
	}
	return -1
}

func (r *imported) int(name string) int64 {
	n, _ := r.values[r.at(name)].(int64)
	return n
}

func (r *imported) text(name string) string {
	s, _ := r.values[r.at(name)].(string)
	return s
}

func (r *imported) set(name string, v any) { r.values[r.at(name)] = v }

// uidForm is what a uid may look like: it becomes part of a file's name.
var uidForm = regexp.MustCompile(`^[0-9A-Za-z-]{1,64}$`)

// check refuses what the database's own rules let pass.
func (r *imported) check() error {
	for i, c := range r.columns {
		text, ok := r.values[i].(string)
		if !ok {
			continue
		}
		if err := r.checkText(c.name, text); err != nil {
			return fmt.Errorf("its %s %w", c.name, err)
		}
	}
	return nil
}

func (r *imported) checkText(name, text string) error {
	bad := errors.New("cannot be read")
	switch {
	case name == "uid":
		if !uidForm.MatchString(text) {
			return bad
		}
	case r.table == "intakes" && name == "data":
		if _, err := unpackIntake(r.text("kind"), []byte(text)); err != nil {
			return bad
		}
	case r.table == "drives" && name == "engine":
		var layout engine.Layout
		if json.Unmarshal([]byte(text), &layout) != nil || !possible(layout) {
			return bad
		}
	case name == "map":
		if new(engine.Map).UnmarshalText([]byte(text)) != nil {
			return bad
		}
	case name == "gear":
		if _, ok := gearOf(text); !ok {
			return bad
		}
	case name == "setup", name == "judged", r.table == "verdicts" && name == "data":
		if !jsonOrEmpty([]byte(text)) {
			return bad
		}
	case strings.ContainsFunc(text, func(c rune) bool { return unicode.IsControl(c) && c != '\n' && c != '\t' }):
		return errors.New("holds control characters")
	}
	return nil
}

// possible reports whether a layout names only cylinders that it has.
func possible(l engine.Layout) bool {
	named := slices.Concat(l.Banks...)
	named = append(named, l.FiringOrder...)
	for _, pair := range l.Pairs {
		named = append(named, pair[:]...)
	}
	outside := func(cylinder int) bool { return cylinder < 1 || cylinder > l.Cylinders }
	return l.Cylinders >= 0 && l.Cylinders <= engine.MaxCylinders && !slices.ContainsFunc(named, outside)
}

// gearOf is the gear state of a name.
func gearOf(name string) (gear.State, bool) {
	for _, g := range gear.Order() {
		if g.String() == name {
			return g, true
		}
	}
	return gear.Unknown, false
}

// convert gives a row's values in the order and types of its columns, and refuses any that are missing or too many.
func convert(columns []column, row map[string]any) ([]any, error) {
	if len(row) != len(columns) {
		return nil, fmt.Errorf("it has %d columns, not %d", len(row), len(columns))
	}
	values := make([]any, len(columns))
	for i, c := range columns {
		v, ok := row[c.name]
		if !ok {
			return nil, fmt.Errorf("it has no %s", c.name)
		}
		if v == nil {
			continue // the schema says whether it may be
		}
		if values[i], ok = c.value(v); !ok {
			return nil, fmt.Errorf("its %s is no %s", c.name, c.kind)
		}
	}
	return values, nil
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

// unmarshalLine is json.Unmarshal that keeps whole numbers whole and refuses what it does not know.
func unmarshalLine(data []byte, to any) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.UseNumber()
	d.DisallowUnknownFields()
	return d.Decode(to)
}
