package bench

import (
	"math"

	"stumble/misfire/rate"
)

// Judge judges readings, those of one job in the order they were taken. The result has one judgement for each, in the
// same order. Where the same was measured twice the newest stands for its cylinder and the earlier one compares with
// nothing.
func Judge(readings []Reading) []Judgement {
	d := newJudging(readings)
	all := make([]Judgement, len(readings))
	for i := range readings {
		r := &readings[i]
		all[i] = judged(r, d.findings(r))
		all[i].Redone = d.newest[keyOf(r)] != r
	}
	return all
}

// judging is all there is to judge: the rules and the readings.
type judging struct {
	rules  map[string]rule
	newest map[key]*Reading
	order  []*Reading // the newest, as they were taken
}

// key is what a reading is of. Engines may have both port and direct injectors, which are no siblings, and a part that
// is hot is none of one that is cold.
type key struct {
	part     Part
	quantity Quantity
	cylinder int
	direct   bool
	hot      bool
}

func keyOf(r *Reading) key {
	return key{r.Part, r.Quantity, r.Cylinder, r.Variant == Direct, r.State == Hot}
}

func newJudging(readings []Reading) *judging {
	d := &judging{rules: rules(), newest: make(map[key]*Reading)}
	for i := range readings {
		d.newest[keyOf(&readings[i])] = &readings[i]
	}
	for i := range readings {
		if d.newest[keyOf(&readings[i])] == &readings[i] {
			d.order = append(d.order, &readings[i])
		}
	}
	return d
}

// findings are what the rules say of a reading: of one that moved, of both its ends and of its moving.
func (d *judging) findings(r *Reading) []Finding {
	k, known := KindOf(r.Part, r.Quantity)
	if !known || math.IsNaN(r.Value) && k.dimension != words {
		return nil
	}
	found := k.judge(d, r)
	if r.Moves {
		found = d.moves(r, k.judge(d, r.otherEnd()))
	}
	if r.State == Hot {
		found = append(found, d.heats(r)...)
	}
	return found
}

// A needle that moves: within so many percent it is a poor touch of the probe, beyond it a break. A choice: the share by
// which the trade has a wire stand out from its siblings.
const movesShare = 30

// moves judges a part whose reading moved while it was moved: that is a fault by itself, whatever its ends are.
func (d *judging) moves(r *Reading, ends []Finding) []Finding {
	about := []Figure{number(r.Value, r.Unit), number(r.To, r.Unit)}
	low, high := min(r.Value, r.To), max(r.Value, r.To)
	f := Finding{Mark: Bad, Says: Moves, About: about, Rule: ruleMoves, Source: sourcePractice}
	if !opens(high) && high-low <= movesShare/100.0*low {
		f.Mark, f.Says = Suspect, MovesALittle
	}
	return append([]Finding{f}, ends...)
}

// Copper gains 31 % of resistance in 80 degrees: 0.39 % a degree (handbooks of electrical engineering). A part that gains
// beyond heatMost does not only warm; where that lies is a choice.
const (
	heatCopper = 31
	heatMost   = 50
)

// heats holds a hot reading against the cold one of the same part.
func (d *judging) heats(r *Reading) []Finding {
	at := keyOf(r)
	at.hot = false
	cold := d.newest[at]
	if cold == nil || !(cold.Value > 0) || opens(cold.Value) {
		return nil
	}
	f := Finding{Mark: Good, Says: HeatsRight, About: []Figure{cold.is(), r.is()}, Rule: ruleHeats, Source: sourcePractice}
	rise := 100 * (r.Value/cold.Value - 1)
	switch {
	case r.Open():
		f.Mark, f.Says, f.About = Bad, HeatsOpen, nil
	case rise > heatMost:
		f.Mark, f.Says, f.About = Bad, HeatsOff, append(f.About, share(rise), share(heatCopper))
	}
	return []Finding{f}
}

// byMaker holds a reading against the maker's figure, which wins over every band.
func byMaker(r *Reading) Finding {
	f := Finding{Mark: Good, Says: MakerWithin, Rule: MakerRule, Source: sourceMaker}
	v, unit := r.Value, r.Unit
	if r.Maker.PerLength {
		if r.Length == 0 {
			f.Mark, f.Says = CannotSay, MakerNeedsLength
			return f
		}
		v, unit = r.Value/r.Length, unit+"/m"
	}
	f.About = []Figure{number(v, unit), {Low: r.Maker.Low, High: r.Maker.High, Unit: unit, Band: true}}
	switch sideOf(v, r.Maker.Low, r.Maker.High) {
	case -1:
		f.Mark, f.Says = Bad, MakerBelow
	case 1:
		f.Mark, f.Says = Bad, MakerAbove
	}
	return f
}

// siblings are the newest readings of the same quantity of each cylinder, r among them where it is one; numbers alone.
func (d *judging) siblings(r *Reading) (set []*Reading) {
	if r.Cylinder == 0 || d.newest[keyOf(r)] != r && !r.end {
		return nil
	}
	mine := keyOf(r)
	for _, o := range d.order {
		its := keyOf(o)
		if its.cylinder = mine.cylinder; its == mine && o.Cylinder != 0 && !math.IsNaN(o.Value) {
			set = append(set, o)
		}
	}
	return set
}

// others are the siblings but for the reading itself.
func (d *judging) others(r *Reading) (set []*Reading) {
	for _, o := range d.siblings(r) {
		if o.Cylinder != r.Cylinder {
			set = append(set, o)
		}
	}
	return set
}

// values are the readings' values that are numbers, open circuits apart.
func values(set []*Reading) (all []float64) {
	for _, r := range set {
		if !r.Open() {
			all = append(all, r.Value)
		}
	}
	return all
}

// allOpen reports whether there are others and every one reads open.
func allOpen(set []*Reading) bool {
	return len(set) > 1 && len(values(set)) == 0
}

const (
	// enoughSiblings is how many of a kind tell which one stands out: of two it cannot be told.
	enoughSiblings = 3
	// enoughOutliers is how many the robust test needs; a choice.
	enoughOutliers = 4
	// meterShare is the least spread that the robust test takes a set to have, as a share of its median: what a meter
	// and its probes add. A choice.
	meterShare = 0.05
)

// outlier holds a reading against the median of its siblings by the median of their deviations, where no rule of the
// trade compares them.
func (d *judging) outlier(r *Reading) []Finding {
	all := values(d.siblings(r))
	if r.Open() || len(all) < enoughOutliers {
		return nil
	}
	middle := rate.Median(all)
	if z := robustZ(all, r.Value, meterShare*math.Abs(middle)); math.Abs(z) > 3.5 {
		about := []Figure{r.is(), number(middle, r.Unit)}
		return []Finding{{Mark: Suspect, Says: StandsOut, About: about, Rule: ruleOutlier, Source: sourceOutlier}}
	}
	return nil
}

// robustZ is the modified z-score of a value; least is the least median deviation.
func robustZ(all []float64, v, least float64) float64 {
	middle := rate.Median(all)
	off := make([]float64, len(all))
	for i, x := range all {
		off[i] = math.Abs(x - middle)
	}
	spread := max(rate.Median(off), least)
	if spread == 0 {
		return 0
	}
	return 0.6745 * (v - middle) / spread
}

// compared is a rule that gives how many percent of the median of the others a reading may be.
type compared struct {
	rule string
	of   func(*Reading) float64 // what is compared; NaN where it cannot be
	unit string
	hint Saying // what else to say where it stands out
}

// share holds a reading against the median of the others: then one that is off does not move what it is held against, and
// is the only one named.
func (d *judging) share(r *Reading, c compared) []Finding {
	var all []float64
	for _, o := range d.others(r) {
		if v := c.of(o); !math.IsNaN(v) && !math.IsInf(v, 0) {
			all = append(all, v)
		}
	}
	v, limits := c.of(r), d.rules[c.rule]
	middle := rate.Median(all)
	if len(all)+1 < enoughSiblings {
		middle = (v + middle) / 2 // of two nobody knows which is off
	}
	if math.IsNaN(v) || math.IsInf(v, 0) || len(all) < 1 || middle <= 0 {
		return nil
	}
	percent := 100 * v / middle
	about := []Figure{number(v, c.unit), share(percent), number(middle, c.unit)}
	switch off := limits.side(percent) != 0; {
	case off && len(all)+1 < enoughSiblings:
		return []Finding{limits.says(Suspect, TwoDiffer, about[:2]...)}
	case off:
		return []Finding{limits.says(Suspect, OutOfStep, append(about, limits.band("%"))...).with(c.hint)}
	}
	return []Finding{limits.says(Good, InStep, about...)}
}

// limit judges a reading by the maker's figure, else by one band; outside it is so bad, with a hint for each side.
func (d *judging) limit(r *Reading, name string, outside Mark, below, above Saying) []Finding {
	if r.Maker.Told() {
		return []Finding{byMaker(r)}
	}
	band := d.rules[name]
	is, usual := r.is(), band.band(r.Unit)
	switch band.side(r.Value) {
	case -1:
		return []Finding{band.says(outside, Below, is, usual).with(below)}
	case 1:
		return []Finding{band.says(outside, Above, is, usual).with(above)}
	}
	if r.Open() {
		return []Finding{band.says(Good, OpenWithin, usual)}
	}
	return []Finding{band.says(Good, Within, is, usual)}
}
