package misfire

import (
	"math"
	"stumble/misfire/rate"
)

// mostGroups is how many groups a level may have whose spanning windows are kept one by one.
const mostGroups = 6

// spanned is a window, or a few neighbours, that ran in several groups of a breakdown: firings in each, and the misses of one
// cylinder in all of them.
type spanned struct {
	misses  float32
	firings [mostGroups]float32
}

// mostSpanned bounds what is kept of one cylinder; beyond it neighbours are put together.
const mostSpanned = 256

// keepSpanned keeps a window that spans several groups.
func (l *breakdown) keepSpanned(cylinder int, misses float64) {
	s := spanned{misses: float32(misses)}
	for _, p := range l.parts {
		s.firings[p.group] = float32(p.firings)
	}
	all := l.spanned[cylinder]
	if len(all) == mostSpanned {
		for i := range mostSpanned / 2 {
			all[i] = all[2*i].plus(all[2*i+1])
		}
		all = all[:mostSpanned/2]
	}
	l.spanned[cylinder] = append(all, s)
}

func (s spanned) plus(o spanned) spanned {
	s.misses += o.misses
	for i, f := range o.firings {
		s.firings[i] += f
	}
	return s
}

// groupSet is some groups of a breakdown, taken together.
type groupSet [mostGroups]bool

func groupsOf(groups ...int) (set groupSet) {
	for _, g := range groups {
		set[g] = true
	}
	return set
}

// divided is one cylinder's running in two sets of groups, and what is needed to tell which of them is worse.
type divided struct {
	first, other         rate.Count // in windows within one group
	allFirst, allOther   float64    // firings, of whatever windows
	windows              int
	splits               []rate.Split // windows that ran in both
	ladders              []rate.Fitted
	fromFirst, fromOther int // which ladders are whose: the first ones, then the others
}

// divide parts a cylinder's running in two. Windows that ran elsewhere as well are left out.
func (l *breakdown) divide(cylinder int, first, other groupSet) *divided {
	d := &divided{}
	for pass, set := range [...]groupSet{first, other} {
		for g, t := range l.of(cylinder) {
			if !set[g] {
				continue
			}
			c, all := &d.first, &d.allFirst
			if pass == 1 {
				c, all = &d.other, &d.allOther
			}
			c.Misses += t.misses
			c.Firings += t.firings
			*all += t.firings
			d.windows += t.ladder.Windows()
			d.ladders = append(d.ladders, rate.Fitted{Ladder: &t.ladder})
		}
		if pass == 0 {
			d.fromFirst = len(d.ladders)
		}
	}
	d.fromOther = len(d.ladders)
	for _, s := range l.spanned[cylinder] {
		d.addSpanned(&s, first, other)
	}
	return d
}

func (d *divided) addSpanned(s *spanned, first, other groupSet) {
	w := rate.Split{Misses: float64(s.misses)}
	elsewhere := 0.0
	for g, f := range s.firings {
		switch {
		case first[g]:
			w.First += float64(f)
		case other[g]:
			w.Other += float64(f)
		default:
			elsewhere += float64(f)
		}
	}
	if elsewhere > (1-unmixedShare)*(w.First+w.Other) {
		return
	}
	d.allFirst += w.First
	d.allOther += w.Other
	d.windows++
	d.splits = append(d.splits, w)
}

// rates are the likeliest misses per firing of both, by expectation and maximization: a window that ran in both is shared
// out by the rates as believed so far.
func (d *divided) rates() (first, other float64) {
	mean := ratio(d.misses(), d.allFirst+d.allOther)
	first, other = mean, mean
	for range 60 {
		was := first
		a, b := d.first.Misses, d.other.Misses
		for _, w := range d.splits {
			if due := w.First*first + w.Other*other; due > 0 {
				a += w.Misses * w.First * first / due
				b += w.Misses * w.Other * other / due
			}
		}
		first, other = ratio(a, d.allFirst), ratio(b, d.allOther)
		if math.Abs(first-was) <= 1e-4*was {
			break
		}
	}
	return first, other
}

func (d *divided) misses() float64 {
	all := d.first.Misses + d.other.Misses
	for _, w := range d.splits {
		all += w.Misses
	}
	return all
}

// guard is what evidence between the two is divided by: how the misses pile up about both rates. With one rate the very
// difference that is asked for would count as bursts.
func (d *divided) guard() float64 {
	first, other := d.rates()
	for i := range d.ladders {
		d.ladders[i].Rate = other
		if i < d.fromFirst {
			d.ladders[i].Rate = first
		}
	}
	var mixed rate.Ladder
	for _, w := range d.splits {
		mixed.Add(w.Misses, w.First*first+w.Other*other)
	}
	parts := append(d.ladders[:d.fromOther:d.fromOther], rate.Fitted{Ladder: &mixed, Rate: 1})
	return rate.GearGuard(rate.Measure(rate.GearLeast, 2, parts...))
}

// evidence is how strongly the running speaks for the first being worse, and for the other; bursts is how many there were
// to tell by.
func (d *divided) evidence() (first, other, bursts float64) {
	guard := d.guard()
	windows := append(d.splits[:len(d.splits):len(d.splits)],
		rate.Split{Misses: d.first.Misses, First: 1}, rate.Split{Misses: d.other.Misses, Other: 1})
	turned := make([]rate.Split, len(windows))
	for i, w := range windows {
		turned[i] = rate.Split{Misses: w.Misses, First: w.Other, Other: w.First}
	}
	return rate.WorseEvidence(windows, d.allFirst, d.allOther, guard), rate.WorseEvidence(turned, d.allOther, d.allFirst, guard), d.misses() / guard
}

// leaning follows which side of a question a cylinder misses more on; kept until what was seen speaks against it.
type leaning int8

const (
	leansOther leaning = -1
	leansNot   leaning = 0
	leansFirst leaning = 1
)

// Questions asked of running in two sets of groups want as many windows and bursts at least.
const fewestWindows = 7

// ask brings a leaning up to date; questions is how many others are asked beside it.
func (was leaning) ask(d *divided, questions int) leaning {
	first, other, bursts := d.evidence()
	enough := d.windows >= fewestWindows && bursts >= fewestBursts
	line := rate.WorseThreshold(questions)
	switch {
	case enough && first >= line && first >= other:
		return leansFirst
	case enough && other >= line:
		return leansOther
	case was == leansFirst && first < 0, was == leansOther && other < 0:
		return leansNot
	}
	return was
}
