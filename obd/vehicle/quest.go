package vehicle

import (
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/elm"
)

// quest asks, while a drive runs, for what was not answered at its start: monitors that the car lists and kept silent
// about, the first cylinders of a car that told no counter at all, and once whether the car allows two monitors in one
// request.
type quest struct {
	item item
	kind questKind
	next time.Time
	turn int
}

type questKind uint8

const (
	noQuest questKind = iota
	questMonitor
	questPair
)

// seldom is how often a car is asked again that told no counter at all: it most likely has none.
const seldom = 30 * time.Second

func (q *quest) begin(now time.Time) {
	q.next = now.Add(firstQuest)
}

// firstQuest is when the first question is asked: at once, as it were, but not before the drive has begun.
const firstQuest = time.Second

// its reports whether an item is the quest's.
func (q *quest) its(it *item) bool { return it == &q.item }

// due is what the quest asks now, nil for nothing.
func (q *quest) due(p *Poller, now time.Time) *item {
	if p.sleeping || now.Before(q.next) {
		return nil
	}
	q.next = now.Add(questEvery)
	var req obd.Request
	switch mids := q.missing(p.caps); {
	case len(mids) > 0:
		req, q.kind = obd.Test(mids[q.turn%len(mids)]), questMonitor
		q.turn++
		if len(p.caps.Monitors) == 0 {
			q.next = now.Add(seldom)
		}
	case p.caps.Pairs == PairsUnknown && p.caps.Protocol.CAN() && len(p.plan.counts) > 1:
		p.caps.Pairs = PairsRefused // until it answers
		req, q.kind = q.pair(p.plan.counts), questPair
	}
	if req.Len() == 0 {
		return nil
	}
	q.item = item{asks: []ask{{req: req}}, asked: now}
	return &q.item
}

// missing are the monitors to ask for.
func (q *quest) missing(c *Capabilities) (mids []byte) {
	if !c.Protocol.CAN() {
		return nil
	}
	mids = c.UnreadMonitors()
	if len(mids) == 0 && c.Cylinders() == 0 {
		mids = []byte{obd.MIDCylinder1, obd.MIDCylinder1 + 1}
	}
	return mids
}

// pair is a request for two counters of one module; none where there are no two.
func (q *quest) pair(counts []*item) obd.Request {
	a, b := counts[0].asks[0], counts[1].asks[0]
	if !a.one || !b.one || a.module != b.module || a.req.Service() != obd.TestResults || b.req.Service() != obd.TestResults {
		return obd.Request{}
	}
	return obd.NewRequest(obd.TestResults, a.req.Params()[0], b.req.Params()[0])
}

// answered takes in what came of the quest, and reports whether the item is its.
func (q *quest) answered(p *Poller, it *item, answer *elm.Answer) bool {
	if !q.its(it) {
		return false
	}
	req := it.now().req
	switch q.kind {
	case questMonitor:
		mid, found := req.Params()[0], false
		for _, m := range answer.Messages {
			found = p.caps.addMonitor(mid, m) || found
		}
		if !found {
			break
		}
		p.caps.forgive(mid)
		if !slices.ContainsFunc(p.caps.Unread, func(u obd.Unread) bool { return u.What == obd.UnreadTest }) {
			q.others(p.caps, mid)
		}
		p.replan()
	case questPair:
		if p.with.pairs = q.both(req, answer); p.with.pairs {
			p.caps.Pairs = PairsAnswered
			p.replan()
		}
	}
	return true
}

// others notes the monitors beside one that appeared late, where none was listed: they are asked for next.
func (q *quest) others(c *Capabilities, mid byte) {
	if mid > obd.MIDCylinder1+1 || c.Cylinders() > 2 || slices.ContainsFunc(c.Modules, func(m Module) bool { return m.Tests.Has(mid) }) {
		return
	}
	for id := obd.MIDCylinder1; id <= obd.MIDCylinder1+11; id++ {
		if !slices.ContainsFunc(c.Monitors, func(m Monitor) bool { return m.MID == id }) {
			c.Unread = append(c.Unread, obd.Unread{What: obd.UnreadTest, ID: id, Why: elm.NoData.Error()})
		}
	}
}

// both reports whether one message holds the counts of both monitors.
func (q *quest) both(req obd.Request, answer *elm.Answer) bool {
	for _, m := range answer.Messages {
		readings, err := obd.AppendCounts(nil, m)
		n := 0
		for _, mid := range req.Params() {
			if slices.ContainsFunc(readings, func(r obd.Reading) bool { return r.ID == mid && r.Part == obd.TIDCount }) {
				n++
			}
		}
		if err == nil && n == len(req.Params()) {
			return true
		}
	}
	return false
}
