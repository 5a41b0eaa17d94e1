package export

import (
	"stumble/misfire"
)

// Cell is one cell of the tally: a cylinder in one condition, in one gear state, or over the drive.
type Cell struct {
	Level     string   `json:"level" parquet:"level,dict"` // "condition", "gear" or "drive": each holds all the running once
	Cylinder  int64    `json:"cylinder" parquet:"cylinder"`
	Gear      *string  `json:"gear" parquet:"gear,optional,dict"` // "P/N", "D", "R", "moving", "?"; null at level drive
	LoadBand  *string  `json:"load_band" parquet:"load_band,optional,dict"`
	RPMBand   *string  `json:"rpm_band" parquet:"rpm_band,optional,dict"`
	Warm      *bool    `json:"warm" parquet:"warm,optional"`
	Origin    *string  `json:"origin" parquet:"origin,optional,dict"` // who says the gear: "reported", "marked", "inferred", "none"
	Reported  bool     `json:"reported" parquet:"reported"`           // false: the car has no counter for the cylinder
	Misses    *float64 `json:"misses" parquet:"misses,optional"`      // shared out by likelihood where windows are mixed
	Firings   float64  `json:"firings" parquet:"firings"`
	Running   float64  `json:"running_seconds" parquet:"running_seconds"`
	Rate      *float64 `json:"rate_per_1000" parquet:"rate_per_1000,optional"` // misses per 1,000 firings
	Low       *float64 `json:"low_per_1000" parquet:"low_per_1000,optional"`   // its 95 % limits
	High      *float64 `json:"high_per_1000" parquet:"high_per_1000,optional"`
	AtLeast   bool     `json:"at_least" parquet:"at_least"`              // the counter reached its end
	Mixed     float64  `json:"mixed" parquet:"mixed"`                    // share of firings in windows that span several, 0 to 1
	Apart     bool     `json:"apart" parquet:"apart"`                    // false while such a window cannot be shared out for sure
	Judged    bool     `json:"judged" parquet:"judged"`                  // enough was seen to judge bursts
	Bursts    bool     `json:"bursts" parquet:"bursts"`                  // the misses come in bursts
	Widened   *float64 `json:"dispersion" parquet:"dispersion,optional"` // misses and firings were divided by it for the limits
	Worsening bool     `json:"worsening" parquet:"worsening"`            // the rate rose against the cylinder's own earlier running
	Since     *Micros  `json:"worse_since_utc" parquet:"worse_since_utc,timestamp(microsecond)"`
	RPM       *float64 `json:"mean_rpm" parquet:"mean_rpm,optional"`
	Load      *float64 `json:"mean_load_percent" parquet:"mean_load_percent,optional"`
}

// Cells are all cells of a tally: by condition, by gear state and over the drive.
func Cells(s *misfire.Summary) []Cell {
	var rows []Cell
	for i := range s.Cells {
		rows = append(rows, inCondition(&s.Cells[i]))
	}
	for i := range s.ByGear {
		rows = append(rows, inGear(&s.ByGear[i]))
	}
	for i := range s.Total {
		rows = append(rows, inDrive(&s.Total[i]))
	}
	return rows
}

func inCondition(c *misfire.Cell) Cell {
	row := inGear(c)
	load, rpm, warm := c.Condition.Load.String(), c.Condition.RPM.String(), c.Condition.Warm
	row.Level, row.LoadBand, row.RPMBand, row.Warm = "condition", &load, &rpm, &warm
	return row
}

func inGear(c *misfire.Cell) Cell {
	row := inDrive(c)
	state, origin := c.Condition.Gear.String(), c.Origin.String()
	row.Level, row.Gear, row.Origin = "gear", &state, &origin
	row.RPM, row.Load = known(c.RPM), known(c.Load)
	return row
}

func inDrive(c *misfire.Cell) Cell {
	row := Cell{
		Level: "drive", Cylinder: int64(c.Cylinder), Reported: c.Reported,
		Firings: c.Firings, Running: c.Running.Seconds(), AtLeast: c.AtLeast, Mixed: c.Mixed, Apart: c.Apart, Judged: c.Judged,
		Bursts: c.Bursts, Widened: known(c.Phi), Worsening: c.Worsening,
	}
	if c.Reported { // without a counter, no misses seen are not no misses
		row.Misses, row.Rate, row.Low, row.High = known(c.Misses), known(c.Rate), known(c.Low), known(c.High)
	}
	if !c.Since.IsZero() {
		since := micros(c.Since)
		row.Since = &since
	}
	return row
}
