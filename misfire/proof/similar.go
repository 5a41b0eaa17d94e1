package proof

import (
	"math"

	"stumble/misfire"
	"stumble/misfire/track"
	"stumble/obd"
)

// Warmth is the warm state of running: warm from [track.WarmAt] on.
type Warmth uint8

// Warm states. What is not known agrees with either.
const (
	WarmthUnknown Warmth = iota
	Cold
	Warm
)

func warmth(warm bool) Warmth {
	if warm {
		return Warm
	}
	return Cold
}

// Point is where an engine ran: rpm, percent of calculated load, and how warm.
type Point struct {
	RPM, Load float64 // NaN when not known
	Warm      Warmth
}

// Tolerance is how far apart two points may lie and still be similar conditions.
type Tolerance struct {
	RPM  float64 // revolutions a minute
	Load float64 // points of calculated load
}

// ToleranceOf is the tolerance of an ordinary or a strict comparison. The ordinary one is that of 13 CCR 1968.2
// (c), from memory and service pages; some makers hold their cars to the strict one (service pages).
func ToleranceOf(strict bool) Tolerance {
	if strict {
		return Tolerance{RPM: 375, Load: 10}
	}
	return Tolerance{RPM: 375, Load: 20}
}

// Similar tells whether running at b is similar to a fault seen at a: what shows only under load is not proven away by
// less of it, so that from half load on b must lie in a's band of ten points or above. The limits themselves are within. A
// point whose speed or load is not known is similar to none.
func (t Tolerance) Similar(a, b Point) bool {
	const half = 40 // percent, where an engine begins to be called loaded; common practice, no source
	if a.Load >= half && b.Load < misfire.BandOfLoad(a.Load).From() {
		return false
	}
	return t.apart(a, b) <= 1
}

// apart is the distance of two points in tolerances, the larger of speed and load: 1 is at the limit. It is
// infinite where they cannot be similar.
func (t Tolerance) apart(a, b Point) float64 {
	if a.Warm != b.Warm && a.Warm != WarmthUnknown && b.Warm != WarmthUnknown {
		return math.Inf(1)
	}
	d := math.Max(math.Abs(a.RPM-b.RPM)/t.RPM, math.Abs(a.Load-b.Load)/t.Load)
	if math.IsNaN(d) {
		return math.Inf(1)
	}
	return d
}

// FramePoint is where a freeze frame was stored. It is false when the frame lacks engine speed or load.
func FramePoint(f obd.FreezeFrame) (Point, bool) {
	p := Point{RPM: math.NaN(), Load: math.NaN()}
	for _, r := range f.Readings {
		switch r.ID {
		case obd.PIDRPM:
			p.RPM = r.Value
		case obd.PIDLoad:
			p.Load = r.Value
		case obd.PIDCoolant:
			p.Warm = warmth(r.Value >= track.WarmAt)
		}
	}
	return p, !math.IsNaN(p.RPM) && !math.IsNaN(p.Load)
}
