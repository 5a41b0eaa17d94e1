package journal

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"
)

// KnownKind is what something is remembered of.
type KnownKind string

// What is remembered between one drive and the next. Nothing of it is evidence: whoever uses it checks it first.
const (
	KnownCar     KnownKind = "car"     // by its VIN
	KnownAdapter KnownKind = "adapter" // by where it is reached
	KnownPort    KnownKind = "port"    // that was used last; its name is empty
	// KnownCounters is a user's table of a maker's counters, by the VIN of the car it worked on.
	KnownCounters KnownKind = "counters"
)

// Known is something remembered.
type Known struct {
	Kind KnownKind
	Name string
	At   time.Time
	Data json.RawMessage // of the program that wrote it
}

// Remember keeps something in the place of what was remembered of it before.
func (j *Journal) Remember(k Known) error {
	if !json.Valid(k.Data) {
		return fmt.Errorf("what is to be remembered of the %s %q is no JSON", k.Kind, k.Name)
	}
	return j.write(func(t tx) error {
		return t.exec(`INSERT INTO known (kind, name, at_ns, data) VALUES (?, ?, ?, ?)
			ON CONFLICT (kind, name) DO UPDATE SET at_ns = excluded.at_ns, data = excluded.data`,
			string(k.Kind), k.Name, nanoseconds(k.At), string(k.Data))
	})
}

// Recall returns what is remembered of something; false where nothing is.
func (j *Journal) Recall(kind KnownKind, name string) (Known, bool, error) {
	all, err := list(j, readKnown, "SELECT kind, name, at_ns, data FROM known WHERE kind = ? AND name = ?", string(kind), name)
	if err != nil || len(all) == 0 {
		return Known{}, false, err
	}
	return all[0], true, nil
}

// Remembered lists all that is remembered, the newest first.
func (j *Journal) Remembered() ([]Known, error) {
	return list(j, readKnown, "SELECT kind, name, at_ns, data FROM known ORDER BY at_ns DESC, id DESC")
}

// Forget forgets something; with an empty kind everything. What is not remembered is no error.
func (j *Journal) Forget(kind KnownKind, name string) error {
	return j.write(func(t tx) error {
		if kind == "" {
			return t.exec("DELETE FROM known")
		}
		return t.exec("DELETE FROM known WHERE kind = ? AND name = ?", string(kind), name)
	})
}

func readKnown(row scanner) (k Known, err error) {
	var kind, data string
	var at int64
	if err = row.Scan(&kind, &k.Name, &at, &data); err != nil {
		return k, err
	}
	k.Kind, k.At, k.Data = KnownKind(kind), timeOf(at), json.RawMessage(data)
	if !json.Valid(k.Data) {
		return k, errors.New("what is remembered is no JSON")
	}
	return k, nil
}
