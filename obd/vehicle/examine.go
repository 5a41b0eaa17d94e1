package vehicle

import (
	"bytes"
	"context"
	"errors"
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
)

// Examination is what a while of harmless requests told of an adapter and of what it can do for the car it is in.
type Examination struct {
	Identity     string
	Claims       []elm.Claim
	RealVersion  bool // there was a version of the number that it calls itself by
	WaitsAsTold  bool
	Levers       elm.Levers
	SeveralPIDs  bool // several values come in one answer
	TwoMonitors  bool
	Modules      int
	Counters     int // cylinders that the car counts
	Unread       int // monitors that it lists and does not answer for
	Strangers    int // modules at addresses of no OBD scheme
	Asked        int
	Unanswered   int           // requests that brought nothing though they had before
	Damaged      int           // answers with a line lost, cut off, misread or garbled
	Doubled      int           // answers with a line twice
	Late         int           // answers that took four times as long as their like
	Cost         time.Duration // of a request that the engine's module answers, as the median
	CountEvery   time.Duration // from one count of a cylinder to its next, as the median of the slowest; 0: none came
	SpeedsPerSec float64       // engine speeds a second
	EngineRuns   bool
	Finding      Finding
}

// Finding is what an adapter is good for with this car.
type Finding uint8

// The findings.
const (
	GoodForTest  Finding = iota // counts come often enough for a load test with steps of usual length
	LongSteps                   // they come seldom: steps of three minutes
	TooSlow                     // they come so seldom that a drive tells little
	NoCounts                    // the car tells no counts
	CountsUnread                // the car lists counts, and this adapter does not bring them
)

// How often counts must come. A step of the load test lasts a minute and more and wants its misses placed within it.
const (
	oftenEnough  = time.Second
	seldomEnough = 6 * time.Second
)

// ErrMoving says that the car moves: whoever reads an examination cannot drive.
var ErrMoving = errors.New("the car moves; let it stand or idle, and examine the adapter then")

// Examined is what is examined: *elm.Adapter is one.
type Examined interface {
	Asker
	Identity() string
	Levers() elm.Levers
	Claims(ctx context.Context) ([]elm.Claim, bool, error)
	WaitsAsTold(ctx context.Context, unanswered obd.Request) (bool, error)
	Strangers() []obd.Module
}

// Examiner examines an adapter. It must be given every exchange of the dialogue while Run runs.
type Examiner struct {
	x        Examination
	answered map[string]bool
	took     map[string][]time.Duration
}

// NewExaminer returns one that has seen nothing yet.
func NewExaminer() *Examiner {
	return &Examiner{answered: map[string]bool{}, took: map[string][]time.Duration{}}
}

// Exchange takes note of an exchange.
func (e *Examiner) Exchange(x *obd.Exchange) {
	if len(x.Request) == 0 || x.Request[0] == 'A' {
		return
	}
	e.x.Asked++
	answer := bytes.ToUpper(x.Answer)
	key := string(x.Request[:len(x.Request)&^1])
	nothing := bytes.Contains(answer, []byte("NO DATA")) || bytes.Contains(answer, []byte("NODATA"))
	switch {
	case nothing && e.answered[key]:
		e.x.Unanswered++
	case nothing:
	case x.Err != nil, bytes.Contains(answer, []byte("BUFFER")), bytes.Contains(answer, []byte("<")), bytes.Contains(answer, []byte("ERROR")):
		e.x.Damaged++
	default:
		e.answered[key] = true
		e.took[key] = append(e.took[key], x.Received.Sub(x.Sent))
	}
	if twice(answer) {
		e.x.Doubled++
	}
}

// twice reports whether a line of data stands twice running in an answer: no module says the same frame twice.
func twice(answer []byte) bool {
	lines := bytes.FieldsFunc(answer, func(c rune) bool { return c == '\r' || c == '\n' })
	for i := 1; i < len(lines); i++ {
		if len(lines[i]) > 5 && bytes.Equal(lines[i], lines[i-1]) {
			return true
		}
	}
	return false
}

// Run examines for a while of polling, beside a few questions. The car must stand.
func (e *Examiner) Run(ctx context.Context, adapter Examined, caps *Capabilities, clk clock.Clock, length time.Duration) (*Examination, error) {
	e.x.Identity, e.x.Modules = adapter.Identity(), len(caps.Modules)
	e.x.Counters, e.x.Unread = caps.Cylinders(), len(caps.UnreadMonitors())
	var err error
	if e.x.Claims, e.x.RealVersion, err = adapter.Claims(ctx); err != nil {
		return nil, err
	}
	if e.x.WaitsAsTold, err = adapter.WaitsAsTold(ctx, obd.Live(unsupported(caps))); err != nil {
		return nil, err
	}
	if err := e.poll(ctx, adapter, caps, clk, length); err != nil {
		return nil, err
	}
	e.x.Levers, e.x.Strangers = adapter.Levers(), len(adapter.Strangers())
	e.x.SeveralPIDs = caps.Protocol.CAN() && caps.Size != 1
	e.x.TwoMonitors = caps.Pairs == PairsAnswered
	e.sum()
	return &e.x, nil
}

// unsupported is a PID that no module lists.
func unsupported(c *Capabilities) byte {
	for pid := byte(0xDF); pid > 0xC0; pid-- {
		if !c.Has(pid) {
			return pid
		}
	}
	return 0xDF
}

// poll polls as a drive does.
func (e *Examiner) poll(ctx context.Context, adapter Examined, caps *Capabilities, clk clock.Clock, length time.Duration) error {
	over := errors.New("the examination is over")
	last, every := map[byte]time.Time{}, map[byte][]time.Duration{}
	speeds := 0
	p := NewPoller(adapter, caps, clk)
	p.Until, p.Over = clk.Now().Add(length), over
	err := p.Run(ctx, func(s *obd.Sample) error {
		for _, r := range s.Readings {
			switch {
			case r.Service == obd.LiveData && r.ID == obd.PIDSpeed && r.Value >= 5:
				return ErrMoving
			case r.Service == obd.LiveData && r.ID == obd.PIDRPM:
				speeds++
				e.x.EngineRuns = r.Value > 0
			case isCount(&r):
				if at, known := last[r.ID]; known {
					every[r.ID] = append(every[r.ID], s.Received.Sub(at))
				}
				last[r.ID] = s.Received
			}
		}
		return nil
	})
	if !errors.Is(err, over) {
		return err
	}
	e.x.SpeedsPerSec = float64(speeds) / length.Seconds()
	for _, gaps := range every {
		e.x.CountEvery = max(e.x.CountEvery, median(gaps))
	}
	e.x.Counters = max(e.x.Counters, caps.Cylinders())
	return nil
}

// isCount reports a reading of a cylinder's count, whichever way it is told: of a code's record the first stands for all.
func isCount(r *obd.Reading) bool {
	switch r.Service {
	case obd.TestResults:
		return r.Part == obd.TIDCount && r.ID >= obd.MIDCylinder1
	case obd.CodeData:
		return r.Part == 0
	}
	return r.Service == obd.LocalData
}

// sum makes the findings of what was noted.
func (e *Examiner) sum() {
	var all []time.Duration
	for _, took := range e.took {
		usual := median(took)
		all = append(all, took...)
		for _, d := range took {
			if d > 4*usual {
				e.x.Late++
			}
		}
	}
	e.x.Cost = median(all)
	switch {
	case e.x.CountEvery == 0 && e.x.Unread > 0:
		e.x.Finding = CountsUnread
	case e.x.CountEvery == 0:
		e.x.Finding = NoCounts
	case e.x.CountEvery <= oftenEnough:
		e.x.Finding = GoodForTest
	case e.x.CountEvery <= seldomEnough:
		e.x.Finding = LongSteps
	default:
		e.x.Finding = TooSlow
	}
}

func median(d []time.Duration) time.Duration {
	if len(d) == 0 {
		return 0
	}
	sorted := slices.Clone(d)
	slices.Sort(sorted)
	return sorted[len(sorted)/2]
}

// Lies reports whether the adapter is not what it calls itself: by a version that never was, or by what it lacks of it.
func (x *Examination) Lies() bool {
	return !x.RealVersion || slices.ContainsFunc(x.Claims, func(c elm.Claim) bool { return c.Due && !c.Known })
}
