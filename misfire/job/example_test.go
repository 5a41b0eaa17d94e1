package job_test

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"stumble/misfire"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
)

// A program opens the newest job of a journal, and gets the verdict on each of its drives and on the repair.
func ExampleOpen() {
	j, leave := workshop()
	defer leave()

	ctx := context.Background()
	b, err := job.Open(j, 0, job.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	drives, err := b.Count(ctx)
	for _, d := range drives {
		fmt.Println("drive", d.Stored.ID, "accuses cylinders", d.Summary.Verdict.Cylinders)
	}
	found, err := b.Compare(ctx, job.Question{})
	fmt.Println("the repair:", found.Result.Outcome, err)
	// Output:
	// drive 1 accuses cylinders [2]
	// drive 2 accuses cylinders []
	// the repair: not_yet <nil>
}

// A program drives a car and saves what it sees.
func ExampleCar() {
	j, leave := workshop()
	defer leave()
	d := record(j, "wren", time.Date(2026, 11, 26, 9, 0, 0, 0, time.UTC), 3*time.Minute)
	fmt.Println("job", d.Job, "drive", d.Drive)
	// Output:
	// job 1 drive 3
}

// workshop is a journal in a folder of its own, with a drive before a repair and one after it; leave takes it away.
func workshop() (j *journal.Journal, leave func()) {
	folder, err := os.MkdirTemp("", "stumble-job-")
	if err != nil {
		panic(err)
	}
	j, _, err = journal.Open(filepath.Join(folder, "journal.db"), journal.Options{})
	if err != nil {
		panic(err)
	}
	morning := time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)
	record(j, "wren", morning, 4*time.Minute)
	record(j, "wren-repaired", morning.Add(time.Hour), 4*time.Minute)
	return j, func() {
		j.Close()
		os.RemoveAll(folder)
	}
}

// record records a drive of a simulated car.
func record(j *journal.Journal, scenario string, at time.Time, length time.Duration) job.Saved {
	ctx, clk := context.Background(), clock.NewStepped(at)
	car, err := sim.Open(scenario, 1, clk)
	if err != nil {
		panic(err)
	}
	dial := func(ctx context.Context) (elm.Link, error) { return car.Dial(ctx) }
	c, err := job.Connect(ctx, elm.Config{Clock: clk, Dial: dial}, nil, nil)
	if err != nil {
		panic(err)
	}
	defer c.Close()
	s := &job.Saver{Journal: j}
	d, err := c.Drive(ctx, job.Setup{Title: "Larkspur Wren"}, misfire.Config{}, s, nil)
	if err == nil {
		err = s.Record(ctx, c, d)
	}
	if err != nil {
		panic(err)
	}
	d.Until = at.Add(length)
	if err := d.Run(ctx, time.Minute, func(*job.State) error { return nil }); !job.Ended(err) {
		panic(err)
	}
	d.Finish()
	saved, err := s.Finish(nil)
	if err != nil {
		panic(err)
	}
	return saved
}
