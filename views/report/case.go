package report

import (
	"time"

	"stumble/misfire"
	"stumble/misfire/bench"
	"stumble/misfire/cause"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/obd"
)

// Case is all that a drive-cycle report is made from: one job, its drives counted anew. What is left empty is not
// known, and the report says so. Times are in the reader's zone.
type Case struct {
	Made time.Time // when the report is made
	Shop Shop
	Job  Job

	Before, After Visit   // what was read of the car at either time
	Drives        []Drive // in order of time
	Proof         *Proof  // nil where there is nothing to compare
	Notes         []Note  // of the job
	Causes        *cause.Result
	CausesAlso    []string       // what a reader must know of how they were ranked, a phrase each
	Bench         []BenchReading // in the order they were taken

	Progress  *proof.Progress  // driving and warm-up cycles since the repair; nil when not followed
	Readiness *proof.Readiness // of the newest intake; nil when not read
}

// Shop is who hands the report over; all of it may be empty.
type Shop struct {
	Name    string
	Address string // lines parted by newlines
	Logo    *Logo  // nil for none
}

// Job is one complaint on one vehicle.
type Job struct {
	Number    int64
	Name      string
	Complaint string
	Opened    time.Time
	VIN       string
	Vehicle   string // its name
}

// Visit is one reading of the car at rest: a whole intake, or its codes alone.
type Visit struct {
	At     time.Time
	Intake *obd.Intake     // nil when only codes were read
	Codes  *obd.CodeReport // those of the intake, or the codes alone; nil when nothing was read
}

// Side is where a drive stands to the repair.
type Side uint8

// The sides.
const (
	SideNone   Side = iota // it is not compared
	SideBefore             // before the repair
	SideAfter              // after it
)

// Drive is one recorded drive.
type Drive struct {
	Number            int64
	Name              string
	Side              Side
	Adapter, Protocol string
	Summary           *misfire.Summary
	Moments           []misfire.Moment // one a second from beginning to end
	Marks             []Mark           // of the driver or helper, in order of time
	Gaps              []Gap            // recorded data that cannot be read any more
	Exchanges         int              // requests answered or given up
	Lost              int              // samples and exchanges that could not be saved
	CutOff            bool             // the recording ended without having been ended
}

// Mark is a time-stamped note of a drive, or the gear that was said to be in.
type Mark struct {
	At   time.Time
	Gear gear.State // Unknown for a note
	Text string
}

// Gap is a stretch of a drive that is missing, and why.
type Gap struct {
	From, To time.Time
	Text     string
}

// BenchReading is one measurement by hand, judged.
type BenchReading struct {
	At     time.Time
	Judged bench.Judgement
}

// Note is what somebody wrote down about the job, or what was done to the car.
type Note struct {
	At              time.Time
	Text            string
	Kind            NoteKind
	Part            string // that was repaired or swapped; empty where it was not told
	Cylinder, Other int    // whose; 0 where it was not told
}

// NoteKind is what a note tells of.
type NoteKind uint8

// Kinds of note.
const (
	NotePlain NoteKind = iota
	NoteRepaired
	NoteSwapped
)

// Proof is the drives before the repair held against those after it.
type Proof struct {
	Chosen string            // by which rule the drives were chosen; empty when the user named them
	Result *proof.Comparison // nil when they cannot be compared
	Why    string            // then why not, in a line
	Swap   *proof.SwapResult // nil when no part was exchanged
	// Between is what parts the drives. Of BetweenNothing the Result is held back: the report shows each drive by itself.
	Between Between
}
