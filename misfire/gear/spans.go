package gear

import (
	"sort"
	"time"

	"stumble/misfire/gear/lever"
)

// Revision counts the changes of what is said of the past.
func (j *Judge) Revision() int {
	if j.report.state == Unknown {
		j.solved = j.bank.Revision()
	}
	return j.timeline.changes + j.solved
}

// Settled is the time before which what is said will not change; now while nothing is inferred.
func (j *Judge) Settled(now time.Time) time.Time {
	if j.report.state != Unknown {
		return now
	}
	from := j.bank.Settled()
	if at := j.ticker.seconds(now); !(from < at) {
		return now
	}
	return j.momentAt(from).in(now)
}

// Spans is the drive as it is judged now, in order of time; each span goes on until the next begins, the last until
// now. What is very old is left out. They are good until the next call.
func (j *Judge) Spans() []Span {
	j.spans = j.spans[:0]
	zone := j.ticker.start
	past, kept := j.bank.Past(), j.bank.Spans()
	for i := range j.timeline.entries {
		e := &j.timeline.entries[i]
		if !e.inferred {
			j.spans = append(j.spans, Span{From: e.from.in(zone), Call: e.call})
			continue
		}
		to := moment(1<<63 - 1)
		if i+1 < len(j.timeline.entries) {
			to = j.timeline.entries[i+1].from
		}
		j.spans = append(j.spans, Span{From: e.from.in(zone), Call: Call{Reason: Unsure}})
		j.fill(past, e.from, to, zone)
		j.fill(kept, e.from, to, zone)
	}
	return j.spans
}

// fill lays what the bank says between two times.
func (j *Judge) fill(spans []lever.Span, from, to moment, zone time.Time) {
	first := sort.Search(len(spans), func(i int) bool { return j.momentAt(spans[i].To) > from })
	for i := first; i < len(spans); i++ {
		s := &spans[i]
		begins := later(j.momentAt(s.From), from)
		if begins >= to {
			return
		}
		if n := len(j.spans); !j.spans[n-1].From.Before(begins.in(zone)) {
			j.spans = j.spans[:n-1]
		}
		j.spans = append(j.spans, Span{From: begins.in(zone), Call: j.callOf(s), Stir: s.Stir && s.State != lever.Unknown})
	}
}
