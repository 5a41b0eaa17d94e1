package cause

import (
	"math"
	"time"

	"stumble/misfire"
	"stumble/misfire/engine"
)

// Heat is misses and firings of each cylinder by place and coolant temperature, from windows that lie within one place.
type Heat [engine.MaxCylinders][Places][heatBins]Tally

// Bins of coolant temperature are 5 degrees wide; the first holds all that is colder, the last all that is hotter.
const (
	heatBins  = 14
	heatWidth = 5
	heatFrom  = 40 // upper edge of the first bin, degrees Celsius
)

func heatBin(celsius float64) int {
	return min(heatBins-1, max(0, 1+int(math.Floor((celsius-heatFrom)/heatWidth))))
}

// Add takes the heat of another drive.
func (h *Heat) Add(o *Heat) {
	for c := range h {
		for p := range h[c] {
			for b := range h[c][p] {
				h[c][p][b].Misses += o[c][p][b].Misses
				h[c][p][b].Firings += o[c][p][b].Firings
			}
		}
	}
}

// thermometer remembers when the coolant came to which degree: windows are told some time after they were.
type thermometer struct {
	at      []time.Time
	celsius []float64
}

// warmest is how many degrees are remembered: enough for hours of any drive.
const warmest = 4096

func (t *thermometer) set(at time.Time, celsius float64) {
	if n := len(t.celsius); n == warmest || n > 0 && t.celsius[n-1] == celsius {
		return
	}
	t.at, t.celsius = append(t.at, at), append(t.celsius, celsius)
}

// read is the coolant at a time; false before it was first read.
func (t *thermometer) read(at time.Time) (celsius float64, ok bool) {
	for i := len(t.at) - 1; i >= 0; i-- {
		if !t.at[i].After(at) {
			return t.celsius[i], true
		}
	}
	return 0, false
}

// AddWindow takes a window of the same drive's tally. Windows that span several places or were not judged are passed
// over.
func (c *Collector) AddWindow(w *misfire.Window) {
	if !w.Counted || len(w.Stretches) == 0 {
		return
	}
	place, ok := placeOf(w.Stretches[0].Condition)
	firings := 0.0
	for _, s := range w.Stretches {
		p, known := placeOf(s.Condition)
		ok = ok && known && p == place
		firings += s.Firings
	}
	celsius, known := c.coolantWas.read(w.From.Add(w.To.Sub(w.From) / 2))
	if !ok || !known {
		return
	}
	bin := heatBin(celsius)
	for _, n := range w.Counts {
		t := &c.heat[n.Cylinder-1][place][bin]
		t.Misses += float64(n.Misses)
		t.Firings += firings
	}
}

// hotterBy is how many bins below the hottest still count as hot: a thermostat holds a warm engine within ten degrees.
const hotterBy = 2

// split is the first bin that counts as hot for some cylinders: it depends on how hot the engine got.
func (e *Evidence) split(cylinders []int) int {
	hottest := 0
	for p := range Places {
		for b := range heatBins {
			if e.Heat[cylinders[0]-1][p][b].Firings >= fewFirings {
				hottest = max(hottest, b)
			}
		}
	}
	return hottest - hotterBy + 1
}

// heat compares running when the engine is as hot as it gets with cooler running, place by place. Where windows tell
// nothing of it, cold and warm running are compared as the tally has them.
func (e *Evidence) heat(s *scope, put func(string, []float64, Telling)) {
	// Twelve times, either way, is as good as only.
	const onlyCold, half, twice, onlyHot = 1.0 / 12, 0.5, 2, 12
	c := e.hotter(s.cylinders)
	if !c.known() {
		c = e.warmer(s.cylinders)
	}
	put("heat", c.weights(onlyCold, half, twice, onlyHot), c.told(RatesByHeat))
}

func (e *Evidence) hotter(cylinders []int) contrast {
	c := contrast{phi: e.sum(cylinders, func(c *Cylinder) Count { return c.Total }).phi(), fromRun: WhenCooler, toRun: WhenHottest}
	split := e.split(cylinders)
	for p := range Places {
		var s stratum
		for _, cyl := range cylinders {
			for b, t := range e.Heat[cyl-1][p] {
				if b < split {
					s.from.add(t)
				} else {
					s.to.add(t)
				}
			}
		}
		c.strata = append(c.strata, s)
	}
	return c
}

func (e *Evidence) warmer(cylinders []int) contrast {
	c := contrast{phi: e.sum(cylinders, func(c *Cylinder) Count { return c.Total }).phi(), fromRun: WhenCold, toRun: WhenWarm}
	for p := range Places {
		of := func(warm int) Tally {
			n := e.sum(cylinders, func(c *Cylinder) Count { return c.At[p][warm] })
			return Tally{n.Misses, n.Firings}
		}
		c.strata = append(c.strata, stratum{of(0), of(1)})
	}
	return c
}
