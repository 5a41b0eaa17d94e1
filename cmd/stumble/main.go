// Command stumble finds, times and explains the misfire of an engine through an ELM327-compatible adapter.
// Each subcommand has a file of its own; they parse, wire and print, and decide nothing.
package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"stumble/misfire/job"
	"stumble/obd/clock"
)

func main() {
	signal.Ignore(syscall.SIGPIPE) // a reader that left is told as any output that fails, and a drive still ends whole
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM, syscall.SIGHUP)
	defer stop()
	status := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr, os.Getenv)
	stop()
	os.Exit(status)
}

// Exit statuses.
const (
	statusDone   = 0
	statusFailed = 1 // no adapter, no answer, nothing to write to
	statusUsage  = 2 // the command line is wrong
	statusFound  = 3 // what --fail-on names was found
)

// app is what a subcommand works with; nothing else reaches for the process it runs in.
type app struct {
	ctx      context.Context
	in       io.Reader
	typed    typed // what was read ahead of in
	out, err io.Writer
	written  *output // what out writes to
	env      func(string) string
	clock    clock.Clock // real time; that of the simulated car starts with it
	terminal terminal
	open     func(path string) error // shows a file to the user
}

// run is the whole program: it returns the exit status.
func run(ctx context.Context, args []string, in io.Reader, out, errs io.Writer, env func(string) string) int {
	a := newApp(ctx, in, out, errs)
	// Steady: a computer whose clock is set during a drive must not tear the drive.
	a.env, a.clock, a.terminal = env, clock.NewScaled(1), systemTerminal{}
	return a.run(args)
}

func newApp(ctx context.Context, in io.Reader, out, errs io.Writer) *app {
	written := &output{Writer: out}
	return &app{ctx: ctx, in: in, out: written, err: errs, written: written, open: openFile}
}

// typed is lines of an input, for all who ask for one: what one of them read ahead is not lost to the next.
type typed struct {
	of    io.Reader
	lines *bufio.Reader
}

// lines are those of the input.
func (a *app) lines() *bufio.Reader {
	if a.typed.of != a.in {
		a.typed = typed{a.in, bufio.NewReader(a.in)}
	}
	return a.typed.lines
}

// run carries out a command line and gives the exit status.
func (a *app) run(args []string) int {
	name, err := a.execute(args)
	if errors.Is(err, errNoCommand) {
		return statusUsage
	}
	return a.report(name, err)
}

// execute carries out a command line, and tells which command it was; none for the program itself.
func (a *app) execute(args []string) (name string, err error) {
	root := newRoot(a)
	root.SetArgs(append([]string{}, args...)) // nil would stand for the arguments of the process
	c, err := root.ExecuteContextC(a.ctx)
	return strings.TrimPrefix(strings.TrimPrefix(c.CommandPath(), root.Name()), " "), err
}

// foundError is a finding that --fail-on named; the work itself is done.
type foundError struct{ error }

// report prints an error on one line with what to do about it, and gives the exit status.
func (a *app) report(name string, err error) int {
	if err == nil {
		err = a.written.err
	}
	if err == nil {
		return statusDone
	}
	if name != "" {
		name += ": "
	}
	fmt.Fprintf(a.err, "stumble: %s%s\n", name, explain(err))
	var usage usageError
	var found foundError
	var misfit *job.MisfitError
	switch {
	case errors.As(err, &usage), errors.As(err, &misfit):
		return statusUsage
	case errors.As(err, &found):
		return statusFound
	}
	return statusFailed
}
