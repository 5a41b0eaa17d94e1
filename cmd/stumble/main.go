// Command stumble finds, times and explains the misfire of an engine through an ELM327-compatible adapter.
// Each subcommand has a file of its own; they parse, wire and print, and decide nothing.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
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
	out, err io.Writer
	written  *output // what out writes to
	env      func(string) string
	clock    clock.Clock // real time; that of the simulated car starts with it
	terminal terminal
	open     func(path string) error // shows a file to the user
}

// command is one subcommand.
type command struct {
	name, summary string
	run           func(a *app, args []string) error
}

func commands() []command {
	return []command{
		{"demo", "the whole job on the built-in simulated car", demo},
		{"ports", "list serial ports and which of them answer as an adapter", ports},
		{"codes", "read stored, pending and permanent trouble codes", codes},
		{"intake", "read everything before anything is touched", intake},
		{"watch", "count misses live, by cylinder and gear", watch},
		{"loadtest", "watch with guided steps: at rest in each gear, cruise, pull", loadtest},
		{"bench", "take and judge what is measured by hand", benchCommand},
		{"causes", "rank what may be behind a misfire, and name the test that tells most", causes},
		{"compare", "judge a repair or a swap by the drives before and after it", compare},
		{"report", "write the drive-cycle report of a job: text, a page, a PDF", reportCommand},
		{"clear", "clear trouble codes, after a repair", clearCodes},
		{"jobs", "list, show, name, note, delete, export and import what is saved", jobs},
		{"playback", "show a stored drive at any speed", playback},
		{"export", "write a stored drive as CSV, JSON lines or Parquet", exportDrive},
		{"simulate", "serve the simulated adapter and car on TCP or a serial port", simulate},
	}
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

func (a *app) run(args []string) int {
	if len(args) == 0 {
		overview(a.err)
		return statusUsage
	}
	name, rest := args[0], args[1:]
	switch name {
	case "help", "-h", "-help", "--help":
		if len(rest) == 0 {
			overview(a.out)
			return a.report("", nil)
		}
		name, rest = rest[0], []string{"--help"} // help COMMAND is COMMAND --help
	}
	for _, c := range commands() {
		if c.name == name {
			return a.report(c.name, c.run(a, rest))
		}
	}
	return a.report("", usagef("there is no command %q; 'stumble help' lists them", name))
}

func overview(w io.Writer) {
	fmt.Fprintln(w, "stumble finds which cylinder misfires, and when.")
	fmt.Fprintln(w)
	fmt.Fprintln(w, "usage: stumble COMMAND [options]; 'stumble COMMAND --help' tells more")
	fmt.Fprintln(w)
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-10s %s\n", c.name, c.summary)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "Start with: stumble demo")
}

// usageError is a command line that cannot be carried out.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// foundError is a finding that --fail-on named; the work itself is done.
type foundError struct{ error }

// errHelp says that help was asked for and given.
var errHelp = errors.New("help")

// output remembers that it failed: a full disk must not pass for a healthy engine.
type output struct {
	io.Writer
	err error
}

func (o *output) Write(p []byte) (int, error) {
	n, err := o.Writer.Write(p)
	if err != nil && o.err == nil {
		o.err = fmt.Errorf("cannot write the result: %w; write it elsewhere", err)
	}
	return n, o.err
}

// report prints an error on one line with what to do about it, and gives the exit status.
func (a *app) report(name string, err error) int {
	if err == nil || errors.Is(err, errHelp) {
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
