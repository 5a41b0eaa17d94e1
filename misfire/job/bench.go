package job

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"stumble/misfire/bench"
	"stumble/misfire/guide"
	"stumble/misfire/journal"
)

// Reading is a reading of the bench as it stands in the journal; ID 0 while it does not.
type Reading struct {
	ID   int64
	At   time.Time
	Then *bench.Mark // what it was judged when it was taken; nil where that is not known
	bench.Reading
}

// ReadingsOf returns the readings of a job, in the order they were taken.
func ReadingsOf(j *journal.Journal, job int64) ([]Reading, error) {
	rows, err := j.BenchReadings(job)
	all := make([]Reading, len(rows))
	for i := range rows {
		all[i] = restored(&rows[i])
	}
	return all, err
}

func restored(row *journal.BenchReading) Reading {
	r := Reading{ID: row.ID, At: row.At, Reading: bench.Reading{
		Part: bench.Part(row.Kind), Cylinder: row.Cylinder, Quantity: bench.Quantity(row.Quantity),
		Value: row.Value, Unit: row.Unit, Text: Printable(row.Text),
	}}
	r.Restore(row.Judged)
	var was bench.Record
	if len(row.Judged) > 0 && json.Unmarshal(row.Judged, &was) == nil {
		r.Then = &was.Mark
	}
	return r
}

// Values returns the readings alone, to be judged.
func Values(all []Reading) []bench.Reading {
	values := make([]bench.Reading, len(all))
	for i := range all {
		values[i] = all[i].Reading
	}
	return values
}

// NoReadingError says that there is no reading of a number in a job, or with Job 0 in the journal.
type NoReadingError struct{ Job, Reading int64 }

func (e NoReadingError) Error() string {
	if e.Job == 0 {
		return fmt.Sprintf("there is no reading %d in the journal", e.Reading)
	}
	return fmt.Sprintf("there is no reading %d in job %d", e.Reading, e.Job)
}

// FindReading finds a reading by its number, in one job or, with 0, in any, and returns its job, too.
func FindReading(j *journal.Journal, job, id int64) (Reading, int64, error) {
	jobs, err := j.Jobs(journal.JobFilter{})
	if err != nil {
		return Reading{}, 0, err
	}
	for i := range jobs {
		if job != 0 && jobs[i].ID != job {
			continue
		}
		all, err := ReadingsOf(j, jobs[i].ID)
		if err != nil {
			return Reading{}, 0, err
		}
		if at := slices.IndexFunc(all, func(r Reading) bool { return r.ID == id }); at >= 0 {
			return all[at], jobs[i].ID, nil
		}
	}
	return Reading{}, 0, NoReadingError{job, id}
}

// Bench is the readings of a job while further ones are taken. The zero Bench saves nothing.
type Bench struct {
	Job      journal.Job // ID 0: none yet
	Readings []Reading
	Layout   string // key of the engine's layout, where one is named now

	journal *journal.Journal
	place   Place
}

// OpenBench opens the readings of the job that p names, or of the one in hand; with p.Another of one that is begun with its
// first reading. The error is a NoJobError where the journal holds no job.
func OpenBench(j *journal.Journal, p Place) (b *Bench, err error) {
	b = &Bench{journal: j, place: p}
	switch {
	case p.Another:
		return b, nil
	case p.Job != 0:
		b.Job, err = j.Job(p.Job)
	default:
		b.Job, err = InHand(j)
	}
	if err == nil {
		b.Readings, err = ReadingsOf(j, b.Job.ID)
	}
	return b, err
}

// Cylinders returns how many cylinders the engine of the job has; 0 when nobody tells.
func (b *Bench) Cylinders() (int, error) {
	if b.Job.ID == 0 {
		return 0, nil
	}
	return Cylinders(b.journal, &b.Job)
}

// Add saves readings, each with what it is judged among all, and returns how many it could.
func (b *Bench) Add(at time.Time, readings []bench.Reading) (saved int, err error) {
	first := len(b.Readings)
	for i := range readings {
		b.Readings = append(b.Readings, Reading{At: at, Reading: readings[i]})
	}
	if b.journal == nil {
		return len(readings), nil
	}
	judged := bench.Judge(Values(b.Readings))
	if err := b.begin(at); err != nil {
		return 0, err
	}
	for i := first; i < len(judged); i++ {
		if b.Readings[i].ID, err = addReading(b.journal, b.Job.ID, at, &judged[i]); err != nil {
			return saved, err
		}
		b.Readings[i].Then = &judged[i].Mark
		saved++
	}
	return saved, nil
}

// begin begins the job that was asked for with its first reading, and keeps the engine that was named for the vehicle,
// where nothing is known of it: the next reading is held to it.
func (b *Bench) begin(at time.Time) (err error) {
	if b.place.Another && b.Job.ID == 0 {
		name := strings.TrimSpace(b.place.Name)
		if name == "" {
			name = nameless
		}
		b.Job, err = b.journal.OpenJob(journal.Job{
			Vehicle: journal.Vehicle{Name: name, Layout: b.Layout}, Opened: at,
			Name: b.place.Name, Complaint: b.place.Complaint,
		})
		if err != nil {
			return err
		}
	}
	v := b.Job.Vehicle
	if b.Layout == "" || v.Layout != "" {
		return nil
	}
	v.Layout = b.Layout
	b.Job.Vehicle, err = b.journal.SaveVehicle(v)
	return err
}

// addReadings saves readings under a job, each with what it is judged among all of it.
func addReadings(j *journal.Journal, job int64, at time.Time, readings []bench.Reading) error {
	b, err := OpenBench(j, Place{Job: job})
	if err == nil {
		_, err = b.Add(at, readings)
	}
	return err
}

// addReading saves one judged reading.
func addReading(j *journal.Journal, job int64, at time.Time, judged *bench.Judgement) (int64, error) {
	record, err := json.Marshal(judged.Record())
	if err != nil {
		return 0, err
	}
	r := &judged.Reading
	row := journal.BenchReading{
		Job: job, At: at, Kind: string(r.Part), Cylinder: r.Cylinder,
		Quantity: string(r.Quantity), Unit: r.Unit, Judged: record,
	}
	row.Value, row.Text = r.Columns()
	return j.AddBench(row)
}

// BalanceReadings returns the falls of a balance test as readings, in rpm to a tenth.
func BalanceReadings(found *guide.BalanceResult) (readings []bench.Reading) {
	tenths := func(v float64) float64 { return math.Round(v*10) / 10 }
	for i := range found.Cylinders {
		c := &found.Cylinders[i]
		if c.Cuts == 0 {
			continue
		}
		r := bench.Reading{Part: bench.Balance, Quantity: bench.Drop, Unit: "rpm", Cylinder: c.Cylinder}
		r.Value = tenths(c.Drop)
		if margin := c.Margin(); !math.IsInf(margin, 0) {
			r.Margin = tenths(margin)
		}
		readings = append(readings, r)
	}
	return readings
}

// Printable returns a text on one line, without whatever would disturb a terminal: texts of a journal may be anybody's.
func Printable(text string) string {
	printable := strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f && r < 0xa0 {
			return ' '
		}
		return r
	}, text)
	return strings.Join(strings.Fields(printable), " ")
}
