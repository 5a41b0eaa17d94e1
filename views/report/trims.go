package report

import (
	"math"

	"stumble/obd"
)

// Fuel trims, short and long together (trade training, no standard behind it).
const (
	trimIdeal      = 5.0
	trimAcceptable = 10.0
)

// addTrims shows the fuel trims of each bank with how to read them.
func addTrims(d *Document, live []obd.Reading) {
	d.section(headTrims)
	t := &table{columns: []column{
		{title: colBank, right: true}, {title: colShort, right: true}, {title: colLong, right: true},
		{title: colTogether, right: true}, {title: colReads},
	}}
	for bank := range 4 {
		pid, part := byte(2*(bank%2)), byte(bank/2)
		short, haveShort := find(live, obd.PIDTrimShort1+pid, part)
		long, haveLong := find(live, obd.PIDTrimLong1+pid, part)
		if !haveShort && !haveLong {
			continue
		}
		row := []string{whole(bank + 1), wordNotTold, wordNotTold, "", ""}
		if haveShort {
			row[1] = signed(short.Value)
		}
		if haveLong {
			row[2] = signed(long.Value)
		}
		if haveShort && haveLong {
			row[3], row[4] = signed(short.Value+long.Value), trimWords(short.Value+long.Value)
		}
		t.add(row...)
	}
	if len(t.rows) == 0 {
		d.say(sayNoTrims)
		return
	}
	d.show(t)
	d.say(loopLine(live))
	d.say(sayTrims)
	d.say(sayTrimTrap)
}

func trimWords(sum float64) string {
	switch size := math.Abs(sum); {
	case size <= trimIdeal:
		return trimWithin5
	case size <= trimAcceptable:
		return trimWithin10
	case sum > 0:
		return trimAdds
	}
	return trimTakes
}

// loopLine warns when the trims were not at work.
func loopLine(live []obd.Reading) string {
	if turns, told := running(live); told && !turns {
		return sayTrimsAtRest
	}
	r, ok := find(live, obd.PIDFuelSystem, obd.PartFuelSystem1)
	if !ok {
		return ""
	}
	if s := obd.FuelSystem(r.Value); s != obd.ClosedLoop && s != obd.ClosedLoopHurt {
		return openLoopLine(s)
	}
	return ""
}
