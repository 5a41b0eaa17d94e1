package job

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"stumble/misfire"
	"stumble/misfire/cause"
	"stumble/misfire/gear"
	"stumble/misfire/journal"
	"stumble/misfire/proof"
	"stumble/obd"
)

// ErrTimeUp ends a drive whose length was given, or whose guide is through.
var ErrTimeUp = errors.New("the time given is over")

// Ended reports whether a run ended because it was meant to: time was up, or the user left.
func Ended(err error) bool {
	return err == nil || errors.Is(err, ErrTimeUp) || errors.Is(err, context.Canceled)
}

// Mark is something noted in a drive, in the order in which it is counted.
type Mark struct {
	At, Until time.Time // Until is the end of a gap; else At
	Kind      journal.MarkKind
	Gear      gear.State // gear.Unknown where it marks none
	Text      string
	Gap       error // what is missing, where Kind is journal.MarkGap
}

// Drive is one drive while it is counted. It belongs to the goroutine that runs it, but for its keys.
type Drive struct {
	Setup  Setup // VIN and title of the car, and how its coils are laid out
	Config misfire.Config
	Until  time.Time // when it is to end; zero: with its source

	// Notify hears what the user must be told, Marked every mark; an error of theirs ends the drive. Words gives the
	// text under which a notice of the link stands among the marks. All may be nil.
	Notify func(Notice) error
	Marked func(Mark) error
	Words  func(Notice) string

	source             Source
	catalyst, emission float64 // the car's own limits, in percent
	tally              *misfire.Tally
	heard              *cause.Collector // what the causes want of the drive beside its tally
	windows            []func(*misfire.Window)
	heed               func(*obd.Sample) // given each sample before it is counted; may be nil
	marks              []Mark
	keys               queue
	lead               Lead
	filling            *Filling  // the proof that the drive is to complete; nil where none is
	looked             time.Time // when the guide is looked after next
	saver              *Saver
	rank               func(*misfire.Summary) (*cause.Result, error) // ranks the causes of its job; nil where it has none
	failed             error                                         // what a hook returned
	asked              gear.State                                    // by the guide
	due                time.Time
}

// newDrive makes ready to count what a source gives.
func newDrive(source Source, setup Setup, cfg misfire.Config, catalyst, emission float64) *Drive {
	d := &Drive{Setup: setup, Config: cfg, source: source, catalyst: catalyst, emission: emission}
	d.begin()
	return d
}

// begin begins to count the drive.
func (d *Drive) begin() {
	d.tally, d.heard, d.marks, d.due = misfire.NewTally(d.Config), &cause.Collector{}, nil, time.Time{}
	d.tally.EachWindow(func(w *misfire.Window) {
		d.heard.AddWindow(w)
		for _, do := range d.windows {
			do(w)
		}
	})
	d.tally.SetLimits(d.catalyst, d.emission)
	d.tally.SetUnread(d.Setup.Unread)
}

// EachWindow has every window of the counters given to do. Call it before Run.
func (d *Drive) EachWindow(do func(*misfire.Window)) { d.windows = append(d.windows, do) }

// Heed has every sample given to do before it is counted. Call it before Run.
func (d *Drive) Heed(do func(*obd.Sample)) { d.heed = do }

// Run counts until the source is at its end, the drive's time is up (ErrTimeUp), ctx ends or a hook fails. show is
// given the state every so often in the drive's time; its error ends the drive. A fault of the program in it is
// returned as an error, so that a terminal is given back and what was counted can be told.
func (d *Drive) Run(ctx context.Context, every time.Duration, show func(*State) error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("the drive failed: %v\n%s", p, debug.Stack())
		}
	}()
	if ends, can := d.source.(interface{ EndAt(time.Time) }); can && !d.Until.IsZero() {
		ends.EndAt(d.Until)
	}
	return d.source.Events(ctx, func(e Event) error {
		switch {
		case e.Again:
			d.begin()
		case e.Sample != nil:
			return d.sample(&e, every, show)
		case e.Mark != nil:
			d.stored(e.Mark)
		case e.Notice != nil:
			d.tell(*e.Notice)
		default:
			return show(d.State())
		}
		return nil
	})
}

// sample counts a sample.
func (d *Drive) sample(e *Event, every time.Duration, show func(*State) error) error {
	s := e.Sample
	if d.heed != nil {
		d.heed(s)
	}
	d.guideHears(s)
	d.obey()
	d.guided(s.Received)
	d.heard.Add(s)
	d.tally.Add(s)
	if changed := d.saver.sample(s); changed != nil {
		d.notify(*changed)
	}
	if d.failed != nil {
		return d.failed
	}
	if !e.Quiet && !s.Received.Before(d.due) {
		if err := show(d.State()); err != nil {
			return err
		}
		d.due = next(d.due, s.Received, every)
	}
	if !d.Until.IsZero() && !s.Received.Before(d.Until) {
		return ErrTimeUp
	}
	return nil
}

// next is the first of the moments that lie every apart, beginning with the first sample, after now.
func next(due, now time.Time, every time.Duration) time.Time {
	if due.IsZero() {
		due = now
	}
	return due.Add((now.Sub(due)/every + 1) * every)
}

// Finish ends the drive and returns its last state, its Summary and, unless its cylinders were cut, its Causes among
// it.
func (d *Drive) Finish() *State {
	d.obey()
	if d.lead.Guide != nil {
		d.lead.Guide.Stop(d.source.Now())
	}
	d.tally.Finish()
	state := d.State()
	state.Summary = d.tally.Summary()
	if !d.lead.Cuts {
		state.Causes = d.causes(state.Summary)
	}
	return state
}

// causes is what may be behind the misfire: of a drive that is saved by all that its job holds, as 'causes' ranks it a
// moment later; of another by this drive alone.
func (d *Drive) causes(s *misfire.Summary) *cause.Result {
	if d.rank != nil {
		if r, err := d.rank(s); err == nil && r != nil { // else the drive itself is still there
			return r
		}
	}
	drives := []cause.Drive{{Summary: s, Collector: d.heard}}
	return cause.StandardBook().Explain(cause.Gather(drives, nil, d.Setup.Coils()))
}

// Began returns when the drive began; zero before its first reading.
func (d *Drive) Began() time.Time { return d.tally.Glance().Start }

// Now returns the time of the drive.
func (d *Drive) Now() time.Time { return d.source.Now() }

// State is everything there is to show of a drive.
type State struct {
	Setup     *Setup
	Summary   *misfire.Summary
	Strip     []misfire.Moment
	Marks     []Mark
	Health    Health
	Position  *Position // of a playback; else nil
	Recording RecordingState
	Causes    *cause.Result     // at the end of a drive; nil before
	Proof     *proof.Comparison // with the drive so far, where the drive fills one; else nil
}

// State returns everything there is to show, made anew.
func (d *Drive) State() *State {
	state := &State{
		Setup:     &d.Setup,
		Summary:   d.tally.Glance(),
		Strip:     d.tally.Strip(nil),
		Marks:     slices.Clip(d.marks),
		Health:    d.source.Health(),
		Recording: d.saver.state(),
	}
	if d.filling != nil {
		state.Proof = d.filling.now
	}
	if p, is := d.source.(interface{ Position() *Position }); is {
		state.Position = p.Position()
	}
	return state
}

func (d *Drive) notify(n Notice) {
	if d.Notify != nil {
		d.failed = errors.Join(d.failed, d.Notify(n))
	}
}

// tell tells of what happened to the link or the car, and notes it among the marks: who looks at the drive later must
// know why nothing was counted there. What could not be read of a stored drive is told alone.
func (d *Drive) tell(n Notice) {
	d.obey() // what was pressed before it is marked before it
	d.notify(n)
	if n.Kind == ExchangesUnread {
		return
	}
	text := n.Kind.String()
	if d.Words != nil {
		text = d.Words(n)
	}
	d.MarkAt(n.At, gear.Unknown, text)
	d.guideLosesCar(&n)
}

// stored puts a mark of a stored drive into the one that is counted.
func (d *Drive) stored(m *journal.Mark) {
	if m.Kind == journal.MarkGap {
		d.notify(Notice{Kind: SamplesUnread, At: m.At, Err: m.Gap})
	}
	if g, asks := m.Asks(); asks {
		d.tally.Prompt(m.At, g)
		return
	}
	if m.Kind == journal.MarkGear {
		d.tally.Mark(m.At, m.Gear)
	}
	d.keep(Mark{At: m.At, Until: m.Until, Kind: m.Kind, Gear: m.Gear, Text: m.Text, Gap: m.Gap})
}

// MarkAt marks a gear, or with gear.Unknown notes a text, at a time of the drive. It is for the drive's own goroutine:
// from within a hook or a guide.
func (d *Drive) MarkAt(at time.Time, g gear.State, text string) {
	m := Mark{At: at, Until: at, Kind: journal.MarkNote, Text: text}
	if g != gear.Unknown {
		d.tally.Mark(at, g)
		m.Kind, m.Gear, m.Text = journal.MarkGear, g, "gear "+g.String()
	}
	d.saver.mark(at, g, m.Text)
	d.keep(m)
}

// Ask takes that a guide asks for a gear from a time of the drive on; gear.Unknown is none any more. It is for the
// drive's own goroutine, as MarkAt.
func (d *Drive) Ask(at time.Time, g gear.State) {
	if g == d.asked {
		return
	}
	d.asked = g
	d.tally.Prompt(at, g)
	d.saver.ask(at, g)
}

func (d *Drive) keep(m Mark) {
	d.marks = append(d.marks, m)
	if d.Marked != nil {
		d.failed = errors.Join(d.failed, d.Marked(m))
	}
}

// Mark says which gear is in, now. As all keys it may be pressed from any goroutine, never waits and is never lost.
func (d *Drive) Mark(g gear.State) {
	d.press(func(at time.Time) { d.MarkAt(at, g, "") })
}

// Note notes a text, now. It is a key.
func (d *Drive) Note(text string) {
	d.press(func(at time.Time) { d.MarkAt(at, gear.Unknown, text) })
}

// press hands a key with its time to the drive's goroutine.
func (d *Drive) press(key func(at time.Time)) {
	at := d.source.Now()
	d.keys.add(func() { key(at) })
}

// obey carries out what the keys asked for.
func (d *Drive) obey() {
	for _, key := range d.keys.take() {
		key()
	}
}

// queue holds keys that were pressed until they are obeyed, however many there are. The zero queue is empty.
type queue struct {
	mu   sync.Mutex
	keys []func()
}

func (q *queue) add(key func()) {
	q.mu.Lock()
	defer q.mu.Unlock()
	q.keys = append(q.keys, key)
}

func (q *queue) take() []func() {
	q.mu.Lock()
	defer q.mu.Unlock()
	keys := q.keys
	q.keys = nil
	return keys
}

// Fail ends the drive with an error, unless it is nil. It is for the drive's own goroutine: from within a hook or a
// guide.
func (d *Drive) Fail(err error) { d.failed = errors.Join(d.failed, err) }
