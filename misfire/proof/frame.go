package proof

import (
	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd"
)

// FrameMatch is a misfire freeze frame from before and whether the running after was similar.
type FrameMatch struct {
	Code    obd.Code
	At      Point
	Known   bool    // the frame tells engine speed and load
	Covered bool    // a condition in which the engine was seen to miss is similar: judged there
	Firings float64 // of one cylinder, after, in similar conditions
}

const (
	codeMany      obd.Code = 0x0300 // several cylinders, or none nameable
	codeFirstTurn obd.Code = 0x0316 // missed in the first 1,000 revolutions
)

// frames holds the misfire freeze frames from before against the failing conditions of the cylinders they
// speak of. A frame from where no failing condition lies becomes a condition of its own.
func (c *comparer) frames(cylinders []Cylinder) []FrameMatch {
	if c.in.Before.Codes == nil {
		return nil
	}
	var out []FrameMatch
	for _, f := range c.in.Before.Codes.Frames {
		named, ok := f.Code.MisfireCylinder()
		if !ok && f.Code != codeMany && f.Code != codeFirstTurn {
			continue
		}
		m := FrameMatch{Code: f.Code}
		m.At, m.Known = FramePoint(f)
		if m.Known {
			m.Covered = c.coverAll(cylinders, m, named)
			m.Firings = c.similarFirings(m.At)
		}
		out = append(out, m)
	}
	return out
}

// coverAll is cover for each cylinder that the frame speaks of: the one it names, or with 0 any.
func (c *comparer) coverAll(cylinders []Cylinder, m FrameMatch, named int) bool {
	spoken, covered := 0, 0
	for i := range cylinders {
		if named != 0 && cylinders[i].Cylinder != named {
			continue
		}
		spoken++
		if c.cover(&cylinders[i], m) {
			covered++
		}
	}
	return spoken > 0 && covered == spoken
}

// cover tells whether a frame lies where the cylinder fails; if not, it is added to what must be proven.
func (c *comparer) cover(cyl *Cylinder, m FrameMatch) bool {
	for _, cond := range cyl.Conditions {
		if cond.Failing && c.tolerance.Similar(cond.At, m.At) {
			return true
		}
	}
	cyl.Conditions = append(cyl.Conditions, c.frame(cyl.Cylinder, m.Code, m.At))
	return false
}

// similarFirings is how much one cylinder ran after in conditions similar to a point.
func (c *comparer) similarFirings(at Point) float64 {
	for i := range c.after.cylinders {
		if l := &c.after.cylinders[i]; l.reported {
			r, _ := c.tolerance.like(l.fine, gear.Unknown, at)
			return r.most.Firings
		}
	}
	return 0
}

// checks is what else must be for a proof: a restart and a warm-up where the fault was seen then.
func (c *comparer) checks(cylinders []Cylinder) []Check {
	var out []Check
	cycles := c.in.After.Cycles
	if c.seenAtStart() {
		out = append(out, Check{Kind: WantsStart, Code: codeFirstTurn, Met: cycles != nil && cycles.Starts > 0})
	}
	if c.seenCold(cylinders) {
		out = append(out, Check{Kind: WantsWarmUp, Met: cycles != nil && cycles.WarmUps > 0})
	}
	return out
}

func (c *comparer) seenAtStart() bool {
	if c.in.Before.Codes == nil {
		return false
	}
	for _, m := range c.in.Before.Codes.Modules {
		for _, list := range [...][]obd.Code{m.Stored, m.Pending} {
			for _, code := range list {
				if code == codeFirstTurn {
					return true
				}
			}
		}
	}
	return false
}

func (c *comparer) seenCold(cylinders []Cylinder) bool {
	for _, cyl := range cylinders {
		for _, cond := range cyl.Conditions {
			if cond.Failing && cond.At.Warm == Cold {
				return true
			}
		}
	}
	return false
}

func misfires(drives []*misfire.Summary) float64 {
	n := 0.0
	for _, d := range drives {
		for _, c := range d.Total {
			n += c.Misses
		}
	}
	return n
}
