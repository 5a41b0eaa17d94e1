package journal

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"stumble/misfire/gear"
	"stumble/obd"
)

// MarkKind is what a mark is.
type MarkKind string

// The kinds of marks.
const (
	MarkGear MarkKind = "gear" // the gear was moved, or told
	MarkNote MarkKind = "note"
	MarkGap  MarkKind = "gap" // something is missing here, and Gap says what
)

// Mark is something noted in a drive.
type Mark struct {
	At    time.Time
	Until time.Time // end of a gap; else At
	Kind  MarkKind
	Gear  gear.State // gear.Unknown where it marks none
	Text  string
	Gap   error // a *Gap or *GapError where Kind is MarkGap, else nil

	after  int // samples recorded before it
	number int
}

// Event is one thing of a drive: a sample or a mark, the other nil.
type Event struct {
	Sample *obd.Sample
	Mark   *Mark
}

// Play gives the samples and marks of a drive in the order they were recorded, so that a tally of them comes to the
// same numbers. An event is good until do returns, and must not be changed. What cannot be read any more is passed
// over, with a mark of kind MarkGap in its place. Recording goes on meanwhile, and Play ends with what was saved when
// it got there. The error is do's, or that the file cannot be read.
func (j *Journal) Play(drive int64, do func(Event) error) error {
	marks, err := j.Marks(drive)
	if err != nil {
		return err
	}
	p := player{marks: marks, do: do}
	err = j.blocks("samples", drive, func(b row) error {
		p.at = b.first
		return p.heal(b, p.reader.samples(&b, p.sample))
	})
	if err != nil {
		return err
	}
	return p.marksUpTo(math.MaxInt)
}

// player merges samples and marks.
type player struct {
	reader blockReader
	marks  []Mark
	at     int // number of the next sample
	do     func(Event) error
}

func (p *player) sample(s *obd.Sample) error {
	if len(p.marks) > 0 {
		if err := p.marksUpTo(p.at); err != nil {
			return err
		}
	}
	p.at++
	return p.do(Event{Sample: s})
}

func (p *player) marksUpTo(n int) error {
	for len(p.marks) > 0 && p.marks[0].after <= n {
		m := p.marks[0]
		p.marks = p.marks[1:]
		if err := p.do(Event{Mark: &m}); err != nil {
			return err
		}
	}
	return nil
}

// heal turns damage of a block into a mark.
func (p *player) heal(b row, err error) error {
	var damage *damageError
	if !errors.As(err, &damage) {
		return err
	}
	return p.do(Event{Mark: &Mark{At: timeOf(b.begin), Until: timeOf(b.end), Kind: MarkGap, Gap: b.damage("samples", p.at, damage)}})
}

// damage says what of a block is missing, at being the number of the first record that is.
func (b *row) damage(table string, at int, err error) *Gap {
	return &Gap{Table: table, Count: max(b.first+b.count-at, 0), Block: b.number, Why: err.Error()}
}

// Exchanges gives the raw exchanges of a drive in the order they were recorded. One is good until do returns, and
// must not be changed. An error that was recorded comes back as its text alone. What cannot be read any more is passed
// over and told by a *GapError at the end. The error is do's, or that the file cannot be read.
func (j *Journal) Exchanges(drive int64, do func(*obd.Exchange) error) error {
	if _, err := j.Drive(drive); err != nil {
		return err
	}
	var reader blockReader
	var gaps GapError
	err := j.blocks("exchanges", drive, func(b row) error {
		at := b.first
		err := reader.exchanges(&b, func(e *obd.Exchange) error {
			at++
			return do(e)
		})
		var damage *damageError
		if errors.As(err, &damage) {
			gaps.Gaps = append(gaps.Gaps, b.damage("exchanges", at, damage))
			return nil
		}
		return err
	})
	if err == nil && len(gaps.Gaps) > 0 {
		return &gaps
	}
	return err
}

// GapError says that not all exchanges of a drive could be read; the others were given out.
type GapError struct{ Gaps []*Gap }

func (e *GapError) Error() string {
	if more := len(e.Gaps) - 1; more > 0 {
		return fmt.Sprintf("%v; and %d more gaps", e.Gaps[0], more)
	}
	return e.Gaps[0].Error()
}

// Marks lists the marks of a drive in the order of its samples.
func (j *Journal) Marks(drive int64) ([]Mark, error) {
	if _, err := j.Drive(drive); err != nil {
		return nil, err
	}
	return list(j, readMark, "SELECT number, after, at_ns, until_ns, kind, gear, text FROM marks WHERE drive_id = ? ORDER BY after, number", drive)
}

func readMark(row scanner) (m Mark, err error) {
	var at, until int64
	var state string
	err = row.Scan(&m.number, &m.after, &at, &until, &m.Kind, &state, &m.Text)
	m.At, m.Until = timeOf(at), timeOf(until)
	m.Gear, _ = gearOf(state)
	if m.Kind == MarkGap {
		m.Gap, m.Text = storedGap(m.Text), ""
	}
	return m, err
}

// version is the version of the schema that the file has: an older one than the newest where it lies on a disk that cannot
// be written.
func (j *Journal) version() (int, error) {
	version, err := list(j, func(found scanner) (n int, err error) {
		err = found.Scan(&n)
		return n, err
	}, "PRAGMA user_version")
	if err != nil {
		return 0, err
	}
	return version[0], nil
}

// formColumn is what tells the form of a block: version 1 has one.
func (j *Journal) formColumn() (string, error) {
	version, err := j.version()
	if err != nil || version < 2 {
		return "0", err
	}
	return "form", nil
}

// blocks gives the rows of a drive to do, some at a time: a transaction held open through an hour of playback would
// let the log grow.
func (j *Journal) blocks(table string, drive int64, do func(row) error) error {
	const atOnce = 32
	form, err := j.formColumn()
	if err != nil {
		return err
	}
	query := fmt.Sprintf(`SELECT block, first, count, begin_ns, end_ns, data, %s FROM %s
		WHERE drive_id = ? AND block > ? ORDER BY block LIMIT ?`, form, table)
	for after := -1; ; {
		some, err := list(j, func(found scanner) (b row, err error) {
			err = found.Scan(&b.number, &b.first, &b.count, &b.begin, &b.end, &b.data, &b.form)
			return b, err
		}, query, drive, after, atOnce)
		if err != nil {
			return err
		}
		for _, b := range some {
			if err := do(b); err != nil {
				return err
			}
			after = b.number
		}
		if len(some) < atOnce {
			return nil
		}
	}
}

// gearCodes are the gear states as they are stored, in the order of package gear.
func gearCodes() []string { return []string{"?", "P/N", "D", "R", "moving", "D/R"} }

// gearOf is the gear state of a code.
func gearOf(code string) (gear.State, bool) {
	i := slices.Index(gearCodes(), code)
	return gear.State(max(i, 0)), i >= 0
}
