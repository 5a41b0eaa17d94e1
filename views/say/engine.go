package say

import "stumble/misfire/engine"

// Engine names an engine by its layout: "inline 4", or by its cylinders where the layout was not told.
func (w Words) Engine(l engine.Layout) string {
	if l.Name == "" && l.Cylinders > 0 {
		return w.count("engine-not-told", float64(l.Cylinders))
	}
	return l.Name
}
