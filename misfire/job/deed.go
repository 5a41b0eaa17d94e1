package job

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"stumble/misfire/journal"
	"stumble/misfire/proof"
)

// Deed is something that was done to the car, or to its memory. It parts the drives before it from those after.
type Deed struct {
	Kind            DeedKind
	By              Witness
	At              time.Time // when it was done; of ByComparison when it was told
	Text            string    // as it was told
	Part            string    // that was repaired or swapped; empty where it was not told
	Cylinder, Other int       // whose; 0 where it was not told

	written time.Time // when it was told
	place   int       // how many drives of the Case came before it
	sure    bool      // which those are was kept, and not found out by the clock
}

// DeedKind is what was done.
type DeedKind uint8

// What was done.
const (
	NoDeed       DeedKind = iota
	CodesCleared          // the codes were cleared, which repairs nothing
	Repaired              // something was repaired or replaced
	Swapped               // a part changed places between two cylinders
)

// Witness is what tells of a deed.
type Witness uint8

// What tells of a deed.
const (
	ByRecord     Witness = iota // it was told as what it is
	ByClear                     // the codes were cleared
	ByNote                      // a note of the job begins with "repair"
	ByMark                      // a mark of a drive does
	ByComparison                // a comparison was told of a swap
)

// swap is the parts that a deed exchanged; false where it exchanged none.
func (d *Deed) swap() (proof.Swap, bool) {
	return proof.Swap{Part: d.Part, A: d.Cylinder, B: d.Other}, d.Kind == Swapped
}

// Deeds returns what was done, in the order of the drives that it lies between; between the same drives in order of time.
func (c *Case) Deeds() ([]Deed, error) {
	if c.deeds != nil {
		return c.deeds, nil
	}
	all := c.notedDeeds()
	all = append(all, c.clears()...)
	for i, d := range c.Drives {
		marks, err := c.journal.Marks(d.ID)
		if err != nil {
			return nil, err
		}
		for _, m := range marks {
			if isRepair(m.Text) {
				all = append(all, Deed{Kind: Repaired, By: ByMark, At: m.At, written: m.At, Text: m.Text, place: i + 1})
			}
		}
	}
	all = append(all, c.comparedSwaps(all)...)
	slices.SortStableFunc(all, func(a, b Deed) int { return cmp.Or(cmp.Compare(a.place, b.place), a.At.Compare(b.At)) })
	if all == nil {
		all = []Deed{}
	}
	c.deeds = all
	return all, nil
}

// isRepair reports whether a note or mark tells of a repair, as notes did before there was a way to tell one.
func isRepair(text string) bool {
	return strings.HasPrefix(strings.ToLower(strings.TrimSpace(text)), "repair")
}

// notedDeeds are the deeds that notes tell of.
func (c *Case) notedDeeds() (all []Deed) {
	kinds := map[journal.NoteKind]DeedKind{journal.NoteRepaired: Repaired, journal.NoteSwapped: Swapped}
	for i := range c.Notes {
		n := &c.Notes[i]
		d := Deed{
			Kind: kinds[n.Kind], At: n.At, Text: n.Text, Part: n.Part, Cylinder: n.Cylinder, Other: n.Other,
			written: cmpTime(n.Written, n.At), place: c.place(n.Order, n.At), sure: n.Order.Known,
		}
		if n.Kind == journal.NotePlain && isRepair(n.Text) {
			d.Kind, d.By = Repaired, ByNote
		}
		if d.Kind != NoDeed {
			all = append(all, d)
		}
	}
	return all
}

// cmpTime is the first of two times that is one.
func cmpTime(t, or time.Time) time.Time {
	if t.IsZero() {
		return or
	}
	return t
}

// clears are the clears of the codes.
func (c *Case) clears() (all []Deed) {
	for i := range c.Verdicts {
		v := &c.Verdicts[i]
		if order, is := c.clearOrder(v); is {
			all = append(all, Deed{Kind: CodesCleared, By: ByClear, At: v.At, written: v.At, place: c.place(order, v.At), sure: order.Known})
		}
	}
	return all
}

// place is how many drives came before something that is of an order and a time.
func (c *Case) place(order journal.Order, at time.Time) (n int) {
	for i := range c.Drives {
		if !order.Before(at, &c.Drives[i]) {
			n = i + 1
		}
	}
	return n
}

// index is where a drive stands among the Case's; -1 when it is not there.
func (c *Case) index(id int64) int {
	return slices.IndexFunc(c.Drives, func(d journal.Drive) bool { return d.ID == id })
}

// comparedSwaps are the swaps that comparisons were told of and nothing else tells: each lies before the first of the
// drives after it. Of several comparisons of one swap the last counts.
func (c *Case) comparedSwaps(told []Deed) (all []Deed) {
	for _, x := range c.comparedExchanges() {
		swap, err := proof.ParseSwap(x.Swapped)
		if err != nil {
			continue
		}
		first := len(c.Drives)
		for _, id := range x.After {
			if i := c.index(id); i >= 0 {
				first = min(first, i)
			}
		}
		known := func(d Deed) bool { other, is := d.swap(); return is && alike(other, swap) }
		if first == len(c.Drives) || slices.ContainsFunc(told, known) {
			continue
		}
		all = append(all, Deed{
			Kind: Swapped, By: ByComparison, At: x.At, written: x.At, place: first,
			Part: swap.Part, Cylinder: swap.A, Other: swap.B,
		})
	}
	return all
}

// alike reports whether two swaps exchanged the same parts, whichever cylinder was named first.
func alike(a, b proof.Swap) bool {
	return a.Part == b.Part && (a.A == b.A && a.B == b.B || a.A == b.B && a.B == b.A)
}

// comparedExchanges are the comparisons of the job in which parts were exchanged, the last of each exchange, with their
// drives: one that was kept without them by an older version compared what its rule finds.
func (c *Case) comparedExchanges() (all []Kept) {
	for i := range c.Verdicts {
		found, is := KeptComparison(&c.Verdicts[i])
		if !is || found.Swapped == "" {
			continue
		}
		if len(found.Before) == 0 || len(found.After) == 0 {
			if n := c.place(journal.Order{}, found.At); n >= 2 {
				found.Before, found.After = []int64{c.Drives[0].ID}, []int64{c.Drives[n-1].ID}
			}
		}
		if len(found.Before) == 0 || len(found.After) == 0 {
			continue
		}
		all = slices.DeleteFunc(all, func(o Kept) bool { return o.Swapped == found.Swapped })
		all = append(all, found)
	}
	return all
}

// LastRepair returns what the car was last repaired by, as somebody told; where nobody told of a repair it is the last
// clear of the codes. Its Kind is NoDeed where there is neither.
func (c *Case) LastRepair() (last Deed, err error) {
	return c.last(func(d *Deed) bool { return d.Kind != Swapped })
}

// lastDeed returns what parts the newest drives from those before: of several deeds between the same drives a repair
// before a swap, and a swap before a clear. Its Kind is NoDeed where nothing does.
func (c *Case) lastDeed() (last Deed, err error) { return c.last(func(*Deed) bool { return true }) }

// last is the last of some deeds. A clear repairs nothing: once a repair was told it parts no drives by itself.
func (c *Case) last(of func(*Deed) bool) (last Deed, err error) {
	all, err := c.Deeds()
	told := false
	for i := range all {
		d := &all[i]
		told = told || d.Kind == Repaired
		switch {
		case !of(d), told && d.Kind == CodesCleared:
		case d.place > last.place, d.weight() >= last.weight():
			last = *d
		}
	}
	return last, err
}

// weight ranks what was done between the same drives.
func (d *Deed) weight() int {
	return [...]int{NoDeed: 0, CodesCleared: 1, Swapped: 2, Repaired: 3}[d.Kind]
}

// moved reports of each drive of the Case whether parts sat on other cylinders than before: from a swap on, until a repair
// or until the same parts were swapped again.
func (c *Case) moved() ([]bool, error) {
	deeds, err := c.Deeds()
	if err != nil {
		return nil, err
	}
	moved := make([]bool, len(c.Drives))
	var apart []proof.Swap
	next := 0
	for i := range c.Drives {
		for ; next < len(deeds) && deeds[next].place <= i; next++ {
			apart = deeds[next].leaves(apart)
		}
		moved[i] = len(apart) > 0
	}
	return moved, nil
}

// leaves is which swaps hold after a deed, of those that held before it.
func (d *Deed) leaves(apart []proof.Swap) []proof.Swap {
	swap, is := d.swap()
	switch {
	case d.Kind == Repaired:
		return nil
	case !is:
		return apart
	}
	if i := slices.IndexFunc(apart, func(o proof.Swap) bool { return alike(o, swap) }); i >= 0 {
		return slices.Delete(slices.Clone(apart), i, i+1)
	}
	return append(slices.Clone(apart), swap)
}

// exchange is a swap with the drives that tell how it came out.
type exchange struct {
	swap          proof.Swap
	before, after []int64
	question      Question
}

// exchanges are the swaps of the job, each with the drives that it was last compared by, else with the last before it
// and those after it until something else was done.
func (c *Case) exchanges() (all []exchange, err error) {
	deeds, err := c.Deeds()
	if err != nil {
		return nil, err
	}
	compared := c.comparedExchanges()
	for i := range deeds {
		d := &deeds[i]
		swap, is := d.swap()
		if !is {
			continue
		}
		x := exchange{swap: swap}
		until := len(c.Drives)
		for _, later := range deeds[i+1:] {
			if later.place > d.place && later.Kind != CodesCleared {
				until = min(until, later.place)
			}
		}
		if d.place > 0 {
			x.before = []int64{c.Drives[d.place-1].ID}
		}
		for _, drive := range c.Drives[d.place:until] {
			x.after = append(x.after, drive.ID)
		}
		for k := range compared {
			x.take(c, d, &compared[k])
		}
		if len(x.before) > 0 && len(x.after) > 0 {
			all = append(all, x)
		}
	}
	return all, nil
}

// take takes the drives of a comparison of the same swap, where they lie on either side of the deed.
func (x *exchange) take(c *Case, d *Deed, k *Kept) {
	swap, err := proof.ParseSwap(k.Swapped)
	if err != nil || !alike(swap, x.swap) {
		return
	}
	for _, id := range k.Before {
		if i := c.index(id); i < 0 || i >= d.place {
			return
		}
	}
	for _, id := range k.After {
		if c.index(id) < d.place {
			return
		}
	}
	x.swap, x.before, x.after, x.question = swap, k.Before, k.After, Question{Strict: k.Strict, Ceiling: k.Ceiling}
}

// swaps judges each exchange of parts anew, from the drives as they are counted now. One whose drives are gone, or that
// can tell nothing, is passed over.
func (c *Case) swaps() (all []proof.SwapResult, err error) {
	made, err := c.exchanges()
	for i := range made {
		x := &made[i]
		before, complete := c.side(x.before)
		after, there := c.side(x.after)
		if !complete || !there {
			continue
		}
		in := proof.Input{Before: before, After: after, Strict: x.question.Strict, Ceiling: x.question.ceiling()}
		if result, err := proof.CompareSwap(in, x.swap); err == nil {
			all = append(all, *result)
		}
	}
	return all, err
}

// followed returns the last swap that named the part, unless a repair was told since.
func (c *Case) followed(made []proof.SwapResult) (*proof.SwapResult, error) {
	deeds, err := c.Deeds()
	for i := range slices.Backward(deeds) {
		swap, is := deeds[i].swap()
		if deeds[i].Kind == Repaired {
			break
		}
		for k := range made {
			if is && alike(made[k].Swap, swap) && made[k].Verdict == proof.FollowedPart {
				return &made[k], err
			}
		}
	}
	return nil, err
}

// faulty finds the drives that show the fault: those before the repair, or all since when it misses still then; of
// these not the ones in which parts sat on other cylinders.
func (c *Case) faulty(all []*Counted) (chosen []*Counted, left []LeftOut, err error) {
	repair, err := c.LastRepair()
	if err != nil || len(all) == 0 {
		return nil, nil, err
	}
	moved, err := c.moved()
	if err != nil {
		return nil, nil, err
	}
	var before, since []*Counted
	for _, d := range all {
		switch i := c.index(d.Stored.ID); {
		case i >= 0 && moved[i]:
			left = append(left, LeftOut{Kind: AfterExchange, Drive: d.Stored.ID})
		case repair.Kind != NoDeed && i >= repair.place:
			since = append(since, d)
		default:
			before = append(before, d)
		}
	}
	switch {
	case len(since) == 0:
		return before, left, nil
	case len(before) == 0:
		return since, left, nil
	case slices.ContainsFunc(since, (*Counted).misses):
		return since, append(left, LeftOut{Kind: BeforeRepair, Repair: repair}), nil
	}
	return before, append(left, LeftOut{Kind: Cured, Repair: repair}), nil
}
