package lever

import "math"

// Start is how a rest began.
type Start uint8

const (
	FirstStart Start = iota // the engine was started, for the first time
	Restart                 // it was started again
	Stop                    // the car came to rest
	Joined                  // it was found running at rest
)

// End is how a rest ended.
type End uint8

const (
	Open      End = iota // it goes on
	MovedOff             //
	EngineOff            //
	Lost                 // nobody saw how
)

// level is the load and engine speed of some idle; NaN where not known.
type level struct{ load, rpm float64 }

func nowhere() level { return level{math.NaN(), math.NaN()} }

func (l level) known() bool { return !math.IsNaN(l.load) && !math.IsNaN(l.rpm) }

// sort is what a boundary between two stretches of a rest is.
type sort uint8

const (
	stepped sort = iota // the load changed for good
	blipped             // somebody was on the pedal
	holed               // nothing was read
)

// step is a boundary between two stretches of one rest.
type step struct {
	sort          sort
	at            float64 // when it began, in seconds
	until         float64 // when it was over: of a ramp, a blip or a hole
	load, rpm     float64 // by how much each changed for good; NaN where not known
	sag           float64 // volts lost with it
	ramp          bool    // it took its time
	raced         bool    // of a blip: held so fast that the lever was in park
	mixed         bool    // two steps that all but cancel: of no kind
	before, after level
	forced        call // the lever went there: marked, or asked for
}

// call is a state that somebody named; nobody is none.
type call uint8

const (
	nobody call = iota
	saidPark
	saidGear
)

func callOf(inGear bool) call {
	if inGear {
		return saidGear
	}
	return saidPark
}

// anchor is what somebody said of a moment: a mark, or the car itself.
type anchor struct {
	at   float64
	call call
	sure float64 // that it is so
}

// rest is one stretch of standing with the engine running.
type rest struct {
	start       Start
	end         End
	from, to    float64 // seconds; to grows while it is open
	first, last level   // first settled, and last before what ended it
	steps       []step
	anchors     []anchor
	fell        bool // idle speed fell all through: a cold engine, in whose drop a step may hide
}

// length is that of a rest in seconds.
func (r *rest) length() float64 { return r.to - r.from }

// forever is longer than any drive, in seconds.
const forever = 1e9

// ends is when a rest ends: nobody knows of one that goes on.
func (r *rest) ends() float64 {
	if r.end == Open {
		return forever
	}
	return r.to
}

// stretch is the part of a rest between boundary i-1 and i.
func (r *rest) stretch(i int) (from, to float64) {
	from, to = r.from, r.to
	if i > 0 {
		from = r.steps[i-1].at
	}
	if i < len(r.steps) {
		to = r.steps[i].at
	}
	return from, to
}
