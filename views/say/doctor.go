package say

import (
	"strconv"
	"time"

	"stumble/obd/vehicle"
)

// Doctor is what an examination of an adapter found, line by line; the last line is what it is good for.
func (w Words) Doctor(x *vehicle.Examination) []string {
	lines := []string{w.tell("doctor-name", x.Identity, w.honesty(x))}
	lines = append(lines, w.tell("doctor-levers", w.Commas(w.levers(x))))
	if missing := w.leversLacking(x); len(missing) > 0 {
		lines = append(lines, w.tell("doctor-lacks", w.Commas(missing)))
	}
	lines = append(lines, w.tell("doctor-cost", milliseconds(x.Cost)))
	lines = append(lines, w.losses(x))
	if x.Strangers > 0 {
		lines = append(lines, w.tell("doctor-strangers", x.Strangers))
	}
	return append(lines, w.DoctorFinding(x))
}

// honesty is whether it is what it calls itself.
func (w Words) honesty(x *vehicle.Examination) string {
	var missing []string
	for _, c := range x.Claims {
		if c.Due && !c.Known {
			missing = append(missing, c.Command)
		}
	}
	switch {
	case !x.RealVersion && len(missing) > 0:
		return w.tell("doctor-no-such-version-lacks", w.Commas(missing))
	case !x.RealVersion:
		return w.tell("doctor-no-such-version")
	case len(missing) > 0:
		return w.tell("doctor-less-than-its-version", w.Commas(missing))
	}
	return w.tell("doctor-honest")
}

// levers are what works.
func (w Words) levers(x *vehicle.Examination) (works []string) {
	for _, l := range w.leverList(x) {
		if l.works {
			works = append(works, l.name)
		}
	}
	if len(works) == 0 {
		return []string{w.tell("word-none")}
	}
	return works
}

// leversLacking is what does not, of what any adapter ought to.
func (w Words) leversLacking(x *vehicle.Examination) (missing []string) {
	for _, l := range w.leverList(x) {
		if !l.works && l.due {
			missing = append(missing, l.name)
		}
	}
	return missing
}

type lever struct {
	name       string
	works, due bool
}

func (w Words) leverList(x *vehicle.Examination) []lever {
	return []lever{
		{w.tell("lever-headers"), x.Levers.Headers, true},
		{w.tell("lever-one-module"), x.Levers.OneModule, true},
		{w.tell("lever-digit"), x.Levers.Digit, true},
		{w.tell("lever-eager"), x.Levers.Eager, false},
		{w.tell("lever-wait"), x.WaitsAsTold, true},
		{w.tell("lever-several"), x.SeveralPIDs, false},
		{w.tell("lever-two"), x.TwoMonitors, false},
	}
}

// losses is what went wrong with answers.
func (w Words) losses(x *vehicle.Examination) string {
	if x.Unanswered+x.Damaged+x.Doubled+x.Late == 0 {
		return w.tell("doctor-clean", x.Asked)
	}
	return w.tell("doctor-losses", x.Asked, x.Unanswered, x.Damaged, x.Doubled, x.Late)
}

// DoctorFinding is what an adapter is good for with the car that it was examined in, in one sentence.
func (w Words) DoctorFinding(x *vehicle.Examination) string {
	every := strconv.FormatFloat(x.CountEvery.Seconds(), 'f', 2, 64)
	switch x.Finding {
	case vehicle.GoodForTest:
		return w.tell("doctor-good", every)
	case vehicle.LongSteps:
		return w.tell("doctor-long-steps", every)
	case vehicle.TooSlow:
		return w.tell("doctor-too-slow", every)
	case vehicle.CountsUnread:
		return w.tell("doctor-unread", x.Unread)
	}
	return w.tell("doctor-no-counts", strconv.FormatFloat(x.SpeedsPerSec, 'f', 1, 64))
}

func milliseconds(d time.Duration) string {
	return strconv.FormatFloat(float64(d)/float64(time.Millisecond), 'f', 0, 64)
}
