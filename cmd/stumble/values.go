package main

import (
	"errors"
	"math"
	"strconv"
	"strings"
	"time"
)

// Values of options, as pflag wants them: Set's error says what to give.

// speed is how fast the simulated car's time runs: a number of times real time, or as fast as it can.
type speed struct {
	factor  float64
	most    bool
	wasSaid bool
}

func (s *speed) Type() string { return "speed" }

func (s *speed) String() string {
	switch {
	case s.most:
		return "max"
	case s.factor == 0:
		return "1"
	}
	return strconv.FormatFloat(s.factor, 'g', -1, 64)
}

// times is how many times as fast as real time it is; real time when nothing was said.
func (s *speed) times() float64 {
	if s.factor == 0 {
		return 1
	}
	return s.factor
}

func (s *speed) Set(text string) error {
	s.wasSaid = true
	if text == "max" {
		s.most = true
		return nil
	}
	v, err := strconv.ParseFloat(strings.TrimSuffix(text, "x"), 64)
	if err != nil || !(v > 0) || math.IsInf(v, 0) || v > 1000 {
		return errors.New("give a number up to 1000, or max")
	}
	s.factor, s.most = v, false
	return nil
}

// seed is what chance in the simulated car starts from.
type seed struct {
	value   uint64
	wasSaid bool
}

func (s *seed) Type() string { return "seed" }

func (s *seed) String() string { return strconv.FormatUint(s.number(), 10) }

// number is the seed; 1 when nothing was said.
func (s *seed) number() uint64 {
	if !s.wasSaid {
		return 1
	}
	return s.value
}

func (s *seed) Set(text string) (err error) {
	if s.value, err = strconv.ParseUint(text, 0, 64); err != nil {
		return errors.New("give a whole number from 0 on")
	}
	s.wasSaid = true
	return nil
}

// duration is a positive length of time.
type duration struct{ time.Duration }

func (d *duration) Type() string { return "duration" }

func (d *duration) Set(text string) error {
	v, err := time.ParseDuration(text)
	if err != nil || v <= 0 {
		return errors.New("give a length of time such as 90s or 10m")
	}
	d.Duration = v
	return nil
}
