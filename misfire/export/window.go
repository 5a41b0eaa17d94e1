package export

import (
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
)

// Window is what one cylinder's counter showed in one window of the tally. A window that spans several conditions
// stands under the one that most of it ran in.
type Window struct {
	Window   int64   `json:"window" parquet:"window"`                                        // its number, from 1
	Time     Micros  `json:"start_time_utc" parquet:"start_time_utc,timestamp(microsecond)"` // when it began
	Start    float64 `json:"start_seconds" parquet:"start_seconds"`                          // the same, since the drive began
	End      float64 `json:"end_seconds" parquet:"end_seconds"`
	Cylinder int64   `json:"cylinder" parquet:"cylinder"`
	Gear     string  `json:"gear" parquet:"gear,dict"`                  // "P/N", "D", "R", "moving"; "?" when not known
	LoadBand string  `json:"load_band" parquet:"load_band,dict"`        // of calculated load; "" without monitored running
	RPMBand  string  `json:"rpm_band" parquet:"rpm_band,dict"`          // "" without monitored running
	Warm     *bool   `json:"warm" parquet:"warm,optional"`              // coolant at 70 degrees Celsius or above
	Mixed    float64 `json:"mixed" parquet:"mixed"`                     // share of the firings that ran in other conditions, 0 to 1
	Running  float64 `json:"running_seconds" parquet:"running_seconds"` // monitored running
	Firings  float64 `json:"firings" parquet:"firings"`                 // expected in it, of this cylinder
	Misses   int64   `json:"misses" parquet:"misses"`
	AtLeast  bool    `json:"at_least" parquet:"at_least"` // the counter reached its end: there may have been more
	Counted  bool    `json:"counted" parquet:"counted"`   // false: part of the running is not known, and no rate holds it
}

// AppendWindow adds a window, a row a cylinder that was followed, to dst. number is the window's, start when the
// drive began.
func AppendWindow(dst []Window, number int, start time.Time, w *misfire.Window) []Window {
	row := Window{Window: int64(number), Time: micros(w.From), Start: w.From.Sub(start).Seconds(), End: w.To.Sub(start).Seconds(),
		Gear: gear.Unknown.String(), Counted: w.Counted}
	most := 0.0
	for _, s := range w.Stretches {
		row.Firings += s.Firings
		row.Running += s.Running.Seconds()
		if s.Firings > most {
			most = s.Firings
			warm := s.Condition.Warm
			row.Gear, row.LoadBand, row.RPMBand, row.Warm = s.Condition.Gear.String(), s.Condition.Load.String(), s.Condition.RPM.String(), &warm
		}
	}
	if row.Firings > 0 {
		row.Mixed = max(0, 1-most/row.Firings)
	}
	for _, c := range w.Counts {
		row.Cylinder, row.Misses, row.AtLeast = int64(c.Cylinder), int64(c.Misses), c.AtLeast
		dst = append(dst, row)
	}
	return dst
}
