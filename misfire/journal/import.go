package journal

import (
	"bufio"
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
	"unicode"

	"stumble/misfire/engine"
)

// Imported says what became of an exported job.
type Imported struct {
	Job    int64 // its number here
	NewJob bool
	Added  int // intakes, drives, notes, bench readings and verdicts that were not here
	Known  int // those that were, and are left as they are
}

// ImportJob reads what ExportJob wrote, now or in version 1, whole or not at all. A job that is already here takes in
// what it did not have; nothing that is here is changed. The file may be anybody's: what does not fit the schema is
// refused.
func (j *Journal) ImportJob(r io.Reader) (found Imported, err error) {
	buffered := bufio.NewReader(r)
	const sqliteFile = "SQLite format 3\x00" // the SQLite file format, "The Database Header"
	if head, _ := buffered.Peek(len(sqliteFile)); string(head) != sqliteFile {
		lines, err := readJobLines(buffered)
		if err != nil {
			return found, err
		}
		return j.importWith(lines.each)
	}
	err = inFolder(func(folder string) error {
		path := filepath.Join(folder, "job.db")
		if err := spool(path, buffered, mostJobFile); err != nil {
			return err
		}
		db, conn, err := connect(path, safe)
		if err != nil {
			return errNoJobFile
		}
		defer db.Close()
		defer conn.Close()
		if err := fitToImport(conn); err != nil {
			return err
		}
		found, err = j.importWith(func(m *importer) error { return m.file(conn) })
		return err
	})
	return found, err
}

// Limits of an exported job: some two hundred hours of drives.
const (
	mostJobFile = 2 << 30 // bytes
	mostRows    = 200_000
)

var (
	errNoJobFile  = errors.New("this is not an exported job: give a file that export wrote")
	errCutJobFile = errors.New("the exported job is not whole: copy it again")
	errTooMuch    = errors.New("the exported job is too large to take in: export it again with fewer drives")
)

// spool puts a file that comes from somewhere on the disk.
func spool(path string, r io.Reader, most int64) error {
	file, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	n, err := io.Copy(file, io.LimitReader(r, most+1))
	if n > most {
		err = errors.Join(err, errTooMuch)
	}
	return errors.Join(err, file.Close())
}

// fitToImport makes sure that a file is a whole journal with nothing in it that would run, and brings it up to date: it
// is a copy.
func fitToImport(conn *sql.Conn) error {
	ctx := context.Background()
	id, err := identify(ctx, conn)
	switch {
	case err != nil:
		return errCutJobFile
	case id.application != applicationID || id.version < 1:
		return errNoJobFile
	case id.version > newest:
		return fmt.Errorf("the exported job: %w; use that version", ErrNewer)
	}
	var odd int
	err = conn.QueryRowContext(ctx, `SELECT count(*) FROM sqlite_schema
		WHERE type = 'trigger' OR type = 'view' AND name <> 'drive_list' OR type = 'table' AND rootpage = 0`).Scan(&odd)
	if err == nil && odd > 0 {
		return errNoJobFile
	}
	var check string
	if err == nil {
		err = conn.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&check)
	}
	if err == nil && check == "ok" {
		err = migrate(ctx, conn, migrations())
	}
	if err != nil || check != "ok" {
		return errCutJobFile
	}
	return nil
}

// importWith takes in the rows that read gives to the importer's put.
func (j *Journal) importWith(read func(*importer) error) (found Imported, err error) {
	err = j.write(func(t tx) error {
		m := importer{t: t, ids: make(map[string]map[int64]int64), fresh: make(map[int64]bool)}
		for _, table := range tables() {
			m.ids[table.name] = make(map[int64]int64)
		}
		if err := read(&m); err != nil {
			return err
		}
		if m.found.Job == 0 {
			return errors.New("the exported job holds no job: export it again")
		}
		found = m.found
		return nil
	})
	return found, err
}

// importer puts rows into the journal and gives them its own ids.
type importer struct {
	t     tx
	ids   map[string]map[int64]int64 // by table: the id in the file to the id here
	fresh map[int64]bool             // drives that were not here
	rows  int
	found Imported
}

// file puts all rows of an exported job that is a journal.
func (m *importer) file(from querier) error {
	c := copier{from: from, to: m.t, put: func(r *copied) error {
		return m.put(r, fmt.Sprintf("row %d of its %s", r.values[0], r.table))
	}}
	for _, table := range tables() {
		columns, err := c.common(table.name)
		if err != nil || len(columns) == 0 || columns[0].name != "id" {
			return errCutJobFile
		}
		_, unread, err := c.rows(table.name, columns, "ORDER BY id")
		if err != nil {
			return err
		}
		if unread != nil {
			return errCutJobFile
		}
	}
	return nil
}

// put takes a row in. An error that tells of the row, not of the disk, says where it is.
func (m *importer) put(row *copied, where string) error {
	if m.rows++; m.rows > mostRows {
		return errTooMuch
	}
	err := m.row(row)
	if err != nil && kindOf(err) == nil {
		return fmt.Errorf("%s of the exported job does not fit: %w", where, err)
	}
	return err
}

func (m *importer) row(row *copied) error {
	if err := row.check(); err != nil {
		return err
	}
	for i, c := range row.columns {
		if parent := parents()[c.name]; parent != "" && row.values[i] != nil {
			of, _ := row.values[i].(int64)
			id, ok := m.ids[parent][of]
			if !ok {
				return fmt.Errorf("its %s is not in the file before it", c.name)
			}
			row.values[i] = id
		}
	}
	old := row.int("id")
	if _, twice := m.ids[row.table][old]; twice {
		return errors.New("its id was there before")
	}
	id, err := m.place(row)
	m.ids[row.table][old] = id
	return err
}

// parents are the tables that columns point to.
func parents() map[string]string {
	return map[string]string{"vehicle_id": "vehicles", "job_id": "jobs", "drive_id": "drives"}
}

// place inserts a row, or finds the one that is the same here.
func (m *importer) place(row *copied) (int64, error) {
	switch row.table {
	case "vehicles":
		return m.vehicle(row)
	case "jobs":
		return m.job(row)
	case "samples", "exchanges", "marks":
		if !m.fresh[row.int("drive_id")] {
			return 0, nil
		}
		return m.t.insertCopy("INSERT", row, 1)
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
	id, err = m.t.insertCopy("INSERT", row, 1)
	if row.table == "drives" {
		m.fresh[id] = true
	}
	return id, err
}

// vehicle is the one with the same uid or VIN, left as it is here, or a new one.
func (m *importer) vehicle(row *copied) (int64, error) {
	if len(m.ids["vehicles"]) > 0 {
		return 0, errors.New("there is more than one vehicle")
	}
	id, err := m.t.id(`SELECT id FROM vehicles WHERE uid = ?1 OR vin = ?2 AND ?2 <> '' ORDER BY uid = ?1 DESC LIMIT 1`,
		row.text("uid"), row.text("vin"))
	if err != nil || id != 0 {
		return id, err
	}
	return m.t.insertCopy("INSERT", row, 1)
}

func (m *importer) job(row *copied) (id int64, err error) {
	if m.found.Job != 0 {
		return 0, errors.New("there is more than one job")
	}
	id, err = m.t.id("SELECT id FROM jobs WHERE uid = ?", row.text("uid"))
	if err == nil && id == 0 {
		m.found.NewJob = true
		if row.at("touched") >= 0 {
			row.set("touched", int64(0)) // its order was that of another journal
		}
		if id, err = m.t.insertCopy("INSERT", row, 1); err == nil {
			err = m.t.touch(id, time.Time{})
		}
	}
	m.found.Job = id
	return id, err
}

// uidForm is what a uid may look like: it becomes part of a file's name.
var uidForm = regexp.MustCompile(`^[0-9A-Za-z-]{1,64}$`)

// check refuses what the database's own rules let pass.
func (r *copied) check() error {
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

func (r *copied) checkText(name, text string) error {
	bad := errors.New("cannot be read")
	switch {
	case name == "uid":
		if !uidForm.MatchString(text) {
			return bad
		}
	case r.table == "intakes" && name == "data":
		if _, err := readStored(r.text("kind"), []byte(text)); err != nil {
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
