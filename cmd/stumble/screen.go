package main

import (
	"context"
	"errors"
	"io"
	"time"

	"stumble/misfire/job"
	"stumble/views/screen"
)

// terminal is where screens are shown.
type terminal interface {
	// Check says what keeps a screen from being shown, as far as that can be told without taking it over: better
	// before the car is sought than after.
	Check() error
	// Take takes the terminal over; whoever shows a screen gives it back.
	Take() (screen.Terminal, error)
	// Present reports whether the program was started from a terminal, and neither its input nor its output leads elsewhere.
	Present(in io.Reader, out io.Writer) bool
}

// systemTerminal is the terminal that the program was started from.
type systemTerminal struct{}

func (systemTerminal) Check() error                   { return screen.Check() }
func (systemTerminal) Take() (screen.Terminal, error) { return screen.Open() }

func (t systemTerminal) Present(in io.Reader, out io.Writer) bool {
	return interactive(in) && interactive(out) && t.Check() == nil
}

// screenEvery is how often, in the car's time, the screen's state is worked out anew.
const screenEvery = 250 * time.Millisecond

// onScreen runs the drive beside the screen: the drive in a goroutine of its own, the screen here.
func (a *app) onScreen(term screen.Terminal, d *drive) error {
	ctx, stop := context.WithCancelCause(a.ctx)
	driven := make(chan error, 1)
	go func() {
		defer stop(job.ErrTimeUp) // the screen goes with the drive
		driven <- d.Run(ctx, screenEvery, d.showing(d.board.show))
	}()
	err := screen.Run(ctx, term, a.clock, screen.NewLive(&d.board, d.actions()), a.look(term))
	stop(job.ErrTimeUp)
	return errors.Join(onlyUnexpected(<-driven), onlyUnexpected(err))
}

func onlyUnexpected(err error) error {
	if job.Ended(err) {
		return nil
	}
	return err
}

// look is how screens look on a terminal.
func (a *app) look(t screen.Terminal) screen.Options {
	return screen.Options{Palette: screen.ChoosePalette(t, a.env("NO_COLOR"))}
}
