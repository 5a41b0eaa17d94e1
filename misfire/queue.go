package misfire

// settleTime is how long, in seconds, a moment waits before it is entered: some of what happens is plain only a little
// later, as that the engine stopped.
const settleTime = 4.0

// eventKind says what happened.
type eventKind uint8

const (
	eventStep    eventKind = iota // running
	eventCount                    // a counter was read
	eventAverage                  // the car's own average was read
	eventStart                    // the engine began to run
	eventStop                     // the engine stopped
)

// event is one thing that happened, waiting to be entered.
type event struct {
	kind      eventKind
	at        float64 // seconds since the tally began
	step      step
	cylinder  int // index, 0 is cylinder 1
	value     int
	road      road // of a count
	own       bool // it is of the user's table of counters
	block     bool // and tells the last block of turns alone
	share     float64
	witnessed bool // a start that was seen to happen; else the engine was found running
}

// queue holds the events of the last settleTime, in order.
type queue struct {
	events []event
	head   int
}

// mostEvents is more than any adapter delivers in settleTime; beyond it the oldest goes early.
const mostEvents = 4096

func (q *queue) push(e event, t *Tally) {
	if q.head > 0 && len(q.events) == cap(q.events) {
		q.events = append(q.events[:0], q.events[q.head:]...)
		q.head = 0
	}
	if len(q.events)-q.head >= mostEvents {
		t.handle(q.first())
		q.drop()
	}
	q.events = append(q.events, e)
}

// pushBack pushes an event that is dated back, to where its time belongs: what was read since the engine stood is of
// the time after, though that it stopped was sure only later.
func (q *queue) pushBack(e event, t *Tally) {
	q.push(e, t)
	for i := len(q.events) - 1; i > q.head && q.events[i-1].at > e.at; i-- {
		q.events[i], q.events[i-1] = q.events[i-1], q.events[i]
	}
}

func (q *queue) first() *event {
	if q.head == len(q.events) {
		q.events, q.head = q.events[:0], 0
		return nil
	}
	return &q.events[q.head]
}

func (q *queue) drop() { q.head++ }

// dropCounts takes out what counters and averages told.
func (q *queue) dropCounts() {
	kept := q.events[:q.head]
	for _, e := range q.events[q.head:] {
		if e.kind != eventCount && e.kind != eventAverage {
			kept = append(kept, e)
		}
	}
	q.events = kept
}
