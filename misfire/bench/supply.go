package bench

import (
	"math"

	"stumble/misfire/rate"
)

func judgeFuelPressure(d *judging, r *Reading) []Finding {
	name := rulePressure
	if r.Variant == HoseOn {
		name = rulePressureOn
	}
	if band := d.rules[rulePressure]; !r.Maker.Told() && r.Value > farAbove*band.high {
		return []Finding{band.says(CannotSay, DirectRail, r.is())}
	}
	return d.limit(r, name, Suspect, FuelLow, FuelHigh)
}

func judgeHold(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleHold, Bad, Nothing, FuelLeaks)
}

func judgeHoldMinute(d *judging, r *Reading) []Finding {
	return d.limit(r, limitHold, Bad, Nothing, FuelLeaks)
}

func judgePurge(d *judging, r *Reading) []Finding {
	return d.limit(r, limitPurge, Bad, Nothing, PurgeSucks)
}

func judgeCoolantHold(d *judging, r *Reading) []Finding {
	return d.limit(r, limitCoolant, Suspect, Nothing, CoolantLeaks)
}

func judgeResting(d *judging, r *Reading) []Finding {
	band := d.rules[ruleResting]
	if !r.Maker.Told() && band.side(r.Value) > 0 {
		return []Finding{band.says(CannotSay, NotAtRest, r.is(), number(band.high, r.Unit))}
	}
	return d.limit(r, ruleResting, Suspect, ChargeFirst, Nothing)
}

// judgeKeyOn judges nothing: with the key on a battery is not at rest, and no limit was read for it.
func judgeKeyOn(d *judging, r *Reading) []Finding {
	if r.Maker.Told() {
		return []Finding{byMaker(r)}
	}
	return []Finding{d.rules[ruleResting].says(CannotSay, KeyIsOn, r.is())}
}

func judgeCranking(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleCranking, Bad, CrankingLow, Nothing)
}

// loadLimits are the least voltages after fifteen seconds of load, by the battery's temperature: the rows of limits.csv.
func loadLimits() []struct {
	name    string
	celsius float64
} {
	return []struct {
		name    string
		celsius float64
	}{
		{"", 20}, {" at 16 C", 16}, {" at 10 C", 10}, {" at 4 C", 4},
		{" at -1 C", -1}, {" at -7 C", -7}, {" at -12 C", -12}, {" at -18 C", -18},
	}
}

// warmest is the temperature that a battery is taken to have where none is told, degrees Celsius.
const warmest = 20

// judgeLoad judges a battery after fifteen seconds of load, by its temperature: by the nearest row that is not colder, so
// that a good one is never called weak.
func judgeLoad(d *judging, r *Reading) []Finding {
	if r.Maker.Told() {
		return []Finding{byMaker(r)}
	}
	at := r.Celsius
	if !r.Heated {
		at = warmest
	}
	rows := loadLimits()
	row := rows[len(rows)-1]
	for _, o := range rows {
		if at >= o.celsius-hair {
			row = o
			break
		}
	}
	rule := d.rules[limitLoad+row.name]
	about := []Figure{r.is(), number(rule.low, r.Unit), number(row.celsius, "C")}
	if rule.side(r.Value) < 0 {
		return []Finding{rule.says(Bad, LoadLow, about...)}
	}
	return []Finding{rule.says(Good, LoadGood, about...)}
}

// managed is how far a managed alternator may wander, V: rules.csv says so in words.
var managed = [2]float64{12.2, 15.2}

func judgeCharging(d *judging, r *Reading) []Finding {
	band := d.rules[ruleCharging]
	about := []Figure{r.is(), band.band(r.Unit)}
	switch {
	case r.Maker.Told() || band.side(r.Value) == 0:
		return d.limit(r, ruleCharging, Bad, Nothing, Nothing)
	case sideOf(r.Value, managed[0], managed[1]) == 0:
		wander := Figure{Low: managed[0], High: managed[1], Unit: r.Unit, Band: true}
		return []Finding{band.says(Suspect, Managed, append(about, wander)...)}
	}
	return []Finding{band.says(Bad, BeyondManaged, about...)}
}

func judgeGround(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleGround, Bad, Nothing, CleanGround)
}

// thinner is how much less vacuum is right for each 300 m of height, kPa: rules.csv says so in words.
const thinner = 3.4

// judgeVacuum judges the vacuum at idle: the usual band, and below it what a published one still allows.
func judgeVacuum(d *judging, r *Reading) []Finding {
	usual, wide := d.rules[ruleVacuum], d.rules[limitVacuum]
	switch {
	case r.Maker.Told() || usual.side(r.Value) >= 0:
		return d.limit(r, ruleVacuum, Suspect, Nothing, Nothing)
	case wide.side(r.Value) == 0:
		return []Finding{wide.says(Good, VacuumFair, r.is(), usual.band(r.Unit))}
	}
	return []Finding{
		usual.says(Suspect, Below, r.is(), wide.band(r.Unit)),
		usual.says(Suspect, VacuumLow, apart(thinner, r.Unit)),
	}
}

// needles are the words that tell how a vacuum gauge's needle moves.
func needles() []look {
	return []look{
		{"steady", Good, NeedleSteady, nil},
		{"flick", Suspect, NeedleFlick, []string{"flicks"}},
		{"regular", Suspect, NeedleRegular, nil},
		{"swing-idle", Suspect, NeedleSwingIdle, nil},
		{"swing-speed", Suspect, NeedleSwingSpeed, nil},
		{"drop", Suspect, NeedleDrop, []string{"drops"}},
		{"drift", Suspect, NeedleDrift, []string{"drifts"}},
		{"sinks", Suspect, NeedleSinks, nil},
	}
}

func judgeNeedle(_ *judging, r *Reading) []Finding {
	return judgeWords(r, needles(), ruleNeedle, NeedleKept)
}

func judgeBackIdle(d *judging, r *Reading) []Finding {
	return d.limit(r, ruleBackIdle, Bad, Nothing, Restricted)
}

// backSuspect is from where one maker calls an exhaust restricted, kPa: rules.csv says so in words.
const backSuspect = 13.8

func judgeBackPressure(d *judging, r *Reading) []Finding {
	band := d.rules[ruleBackPressure]
	if !r.Maker.Told() && band.side(r.Value) == 0 && sideOf(r.Value, 0, backSuspect) > 0 {
		return []Finding{band.says(Suspect, BackSuspect, r.is(), number(backSuspect, r.Unit), number(band.high, r.Unit))}
	}
	return d.limit(r, ruleBackPressure, Bad, Nothing, Restricted)
}

// judgePort compares the heat of a cylinder's exhaust port with that of the others.
func judgePort(d *judging, r *Reading) []Finding {
	rule := d.rules[limitPort]
	others := values(d.others(r))
	if len(others)+1 < enoughSiblings {
		return []Finding{rule.says(CannotSay, PortFew)}
	}
	middle := rate.Median(others)
	off := rounded(r.Value - middle)
	about := []Figure{r.is(), apart(math.Abs(off), r.Unit), number(middle, r.Unit)}
	switch rule.side(off) {
	case -1:
		return []Finding{rule.says(Suspect, PortCold, about...)}
	case 1:
		return []Finding{rule.says(Suspect, PortHot, about...)}
	}
	about[1] = apart(rule.high, r.Unit)
	return []Finding{rule.says(Good, PortGood, about...)}
}
