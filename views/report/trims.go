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
func (d *Document) addTrims(live []obd.Reading) {
	d.section(d.tell("head-trims"))
	t := &table{columns: []column{
		{title: d.tell("col-bank"), right: true}, {title: d.tell("col-short"), right: true}, {title: d.tell("col-long"), right: true},
		{title: d.tell("col-together"), right: true}, {title: d.tell("col-reads")},
	}}
	for bank := range 4 {
		pid, part := byte(2*(bank%2)), byte(bank/2)
		short, haveShort := find(live, obd.PIDTrimShort1+pid, part)
		long, haveLong := find(live, obd.PIDTrimLong1+pid, part)
		if !haveShort && !haveLong {
			continue
		}
		row := []string{whole(bank + 1), d.tell("word-not-told"), d.tell("word-not-told"), "", ""}
		if haveShort {
			row[1] = signed(short.Value)
		}
		if haveLong {
			row[2] = signed(long.Value)
		}
		if haveShort && haveLong {
			row[3] = signed(short.Value + long.Value)
			if turns, told := running(live); turns || !told { // of a standing engine they are not judged
				row[4] = d.trimWords(short.Value + long.Value)
			}
		}
		t.add(row...)
	}
	if len(t.rows) == 0 {
		d.say(d.tell("say-no-trims"))
		return
	}
	d.show(t)
	d.say(d.loopLine(live))
	if turns, told := running(live); told && !turns {
		return
	}
	d.say(d.tell("say-trims"))
	d.say(d.tell("say-trim-trap"))
}

func (w *words) trimWords(sum float64) string {
	switch size := math.Abs(sum); {
	case size <= trimIdeal:
		return w.tell("trim-within-5")
	case size <= trimAcceptable:
		return w.tell("trim-within-10")
	case sum > 0:
		return w.tell("trim-adds")
	}
	return w.tell("trim-takes")
}

// loopLine warns when the trims were not at work.
func (w *words) loopLine(live []obd.Reading) string {
	if turns, told := running(live); told && !turns {
		return w.tell("say-trims-at-rest")
	}
	r, ok := find(live, obd.PIDFuelSystem, obd.PartFuelSystem1)
	if !ok {
		return ""
	}
	if s := obd.FuelSystem(r.Value); s != obd.ClosedLoop && s != obd.ClosedLoopHurt {
		return w.tell("say-open-loop", s)
	}
	return ""
}
