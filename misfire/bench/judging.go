package bench

import (
	"math"
	"slices"

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

// key is what a reading is of. Engines may have both port and direct injectors, which are no siblings.
type key struct {
	part     Part
	quantity Quantity
	cylinder int
	direct   bool
}

func keyOf(r *Reading) key { return key{r.Part, r.Quantity, r.Cylinder, r.Variant == Direct} }

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

// findings are what the rules say of a reading.
func (d *judging) findings(r *Reading) []Finding {
	k, known := KindOf(r.Part, r.Quantity)
	if !known || math.IsNaN(r.Value) && k.dimension != words {
		return nil
	}
	return k.judge(d, r)
}

// judged puts the finding that decides first: the worst, and doubt before praise.
func judged(r *Reading, found []Finding) Judgement {
	if len(found) == 0 {
		found = []Finding{{CannotSay, "No rule speaks of such a reading.", "", ""}}
	}
	weight := func(f Finding) int { return [...]int{CannotSay: 1, Good: 0, Suspect: 2, Bad: 3}[f.Mark] }
	slices.SortStableFunc(found, func(a, b Finding) int { return weight(b) - weight(a) })
	first := found[0]
	return Judgement{Reading: *r, Mark: first.Mark, Why: first.Why, Rule: first.Rule, Source: first.Source, All: found}
}

// byMaker holds a reading against the maker's figure, which wins over every band.
func byMaker(r *Reading) Finding {
	f := Finding{Mark: Good, Rule: MakerRule, Source: sourceMaker}
	v, unit := r.Value, r.Unit
	if r.Maker.PerLength {
		if r.Length == 0 {
			f.Mark, f.Why = CannotSay, "The maker's figure is by length: measure the wire's length too."
			return f
		}
		v, unit = r.Value/r.Length, unit+" a metre"
	}
	words := bandInWords(r.Maker.Low, r.Maker.High, unit)
	switch sideOf(v, r.Maker.Low, r.Maker.High) {
	case 0:
		f.Why = figure(v, unit) + " is within the maker's figure, " + words + "."
	case -1:
		f.Mark, f.Why = Bad, figure(v, unit)+" is below the maker's figure, "+words+"."
	case 1:
		f.Mark, f.Why = Bad, figure(v, unit)+" is above the maker's figure, "+words+"."
	}
	return f
}

// siblings are the newest readings of the same quantity of each cylinder, r among them where it is one; numbers alone.
func (d *judging) siblings(r *Reading) (set []*Reading) {
	if r.Cylinder == 0 || d.newest[keyOf(r)] != r {
		return nil
	}
	for _, o := range d.order {
		same := o.Part == r.Part && o.Quantity == r.Quantity && (o.Variant == Direct) == (r.Variant == Direct)
		if same && o.Cylinder != 0 && !math.IsNaN(o.Value) {
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
		return []Finding{{Suspect, figure(r.Value, r.Unit) + " stands out from its siblings: the middle of the set is " + figure(middle, r.Unit) + ".", ruleOutlier, sourceOutlier}}
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

// compared is a rule that gives how many percent of the set's median a reading may be.
type compared struct {
	rule string
	of   func(*Reading) float64 // what is compared; NaN where it cannot be
	unit string
	hint string // what else to say where it stands out
}

// share holds a reading against the median of its set.
func (d *judging) share(r *Reading, c compared) []Finding {
	var all []float64
	for _, o := range d.siblings(r) {
		if v := c.of(o); !math.IsNaN(v) && !math.IsInf(v, 0) {
			all = append(all, v)
		}
	}
	v, limits := c.of(r), d.rules[c.rule]
	middle := rate.Median(all)
	if math.IsNaN(v) || math.IsInf(v, 0) || len(all) < 2 || middle <= 0 {
		return nil
	}
	percent := 100 * v / middle
	off := limits.side(percent) != 0
	switch {
	case off && len(all) < enoughSiblings:
		return []Finding{limits.says(Suspect, "The two that were measured differ: %s is %s of their middle. One of them is off; a third tells which.", figure(v, c.unit), share(percent))}
	case off:
		return []Finding{limits.says(Suspect, "%s is %s of the middle of the set, %s; %s are usual. A part that differs from its siblings is suspect inside any band.%s",
			figure(v, c.unit), share(percent), figure(middle, c.unit), limits.band("%"), c.hint)}
	}
	return []Finding{limits.says(Good, "%s is in step with the set: %s of its middle, %s.", figure(v, c.unit), share(percent), figure(middle, c.unit))}
}
