package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"
)

// flagSet parses one subcommand's options, which may stand before and after its arguments.
type flagSet struct {
	*flag.FlagSet
	about   string // what the command does and how it is called
	example string // what may stand after the command's name
}

func newFlags(name, about, example string) *flagSet {
	f := &flagSet{FlagSet: flag.NewFlagSet(name, flag.ContinueOnError), about: about, example: example}
	f.SetOutput(io.Discard)
	return f
}

// parse takes the options and returns the arguments between them, at most so many.
func (f *flagSet) parse(a *app, args []string, most int) ([]string, error) {
	var rest []string
	for {
		err := f.Parse(args)
		switch {
		case errors.Is(err, flag.ErrHelp):
			f.help(a.out)
			return nil, errHelp
		case err != nil:
			return nil, usagef("%s; 'stumble %s --help' lists the options", twoDashes(err), f.Name())
		case f.NArg() == 0:
			if len(rest) > most {
				return nil, usagef("%q is one argument too many; 'stumble %s --help' tells what it takes", rest[most], f.Name())
			}
			return rest, nil
		}
		rest = append(rest, f.Arg(0))
		args = f.Args()[1:]
	}
}

// twoDashes is a complaint of package flag with the option written as our help writes it.
func twoDashes(err error) string {
	return strings.NewReplacer("flag provided but not defined: -", "there is no option --",
		"flag needs an argument: -", "a value is missing after --", " for flag -", " for --", " for -", " for --").Replace(err.Error())
}

func (f *flagSet) help(w io.Writer) {
	for paragraph := range strings.SplitSeq(f.about, "\n\n") {
		writeWrapped(w, "", paragraph)
		fmt.Fprintln(w)
	}
	f.VisitAll(func(o *flag.Flag) {
		what, usage := flag.UnquoteUsage(o)
		name := "--" + o.Name
		if what != "" {
			name += " " + what
		}
		writeWrapped(w, fmt.Sprintf("  %-20s ", name), usage)
	})
	fmt.Fprintln(w)
	fmt.Fprintf(w, "example:\n  stumble %s\n", strings.TrimSpace(f.Name()+" "+f.example))
}

// writeWrapped writes a text behind a label, its further lines under the first. A text that is indented shows what
// to type and is left as it is.
func writeWrapped(w io.Writer, label, text string) {
	if strings.HasPrefix(text, " ") {
		fmt.Fprintln(w, text)
		return
	}
	line := label
	for word := range strings.FieldsSeq(text) {
		if len(line) > len(label) && len(line)+1+len(word) > textWidth {
			fmt.Fprintln(w, strings.TrimRight(line, " "))
			line = strings.Repeat(" ", len(label))
			label = line
		}
		if len(line) > len(label) {
			line += " "
		}
		line += word
	}
	fmt.Fprintln(w, line)
}

// speed is how fast the simulated car's time runs: a number of times real time, or as fast as it can.
type speed struct {
	factor  float64
	most    bool
	wasSaid bool
}

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

func (d *duration) Set(text string) error {
	v, err := time.ParseDuration(text)
	if err != nil || v <= 0 {
		return errors.New("give a length of time such as 90s or 10m")
	}
	d.Duration = v
	return nil
}
