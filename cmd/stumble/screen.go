package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/gdamore/tcell/v2"

	"stumble/misfire/job"
	"stumble/views/screen"
)

// terminal is where the screen comes from.
type terminal interface {
	// Check says what keeps a screen from being shown, as far as that can be told without taking it over: better
	// before the car is sought than after.
	Check() error
	// Take takes the terminal over; whoever shows the screen gives it back.
	Take() (tcell.Screen, error)
}

// systemTerminal is the terminal that the program was started from.
type systemTerminal struct{}

func (systemTerminal) Check() error {
	if _, err := tcell.NewScreen(); err != nil {
		return fmt.Errorf("no screen on this terminal (%w): use --plain, or check TERM", err)
	}
	return nil
}

func (systemTerminal) Take() (tcell.Screen, error) { return screen.Open() }

// screenEvery is how often, in the car's time, the screen's state is worked out anew.
const screenEvery = 250 * time.Millisecond

// onScreen runs the drive beside the screen: the drive in a goroutine of its own, the screen here.
func (a *app) onScreen(term tcell.Screen, d *drive) error {
	palette := screen.ChoosePalette(term, a.env("NO_COLOR"))
	ctx, stop := context.WithCancelCause(a.ctx)
	driven := make(chan error, 1)
	go func() {
		defer stop(job.ErrTimeUp) // the screen goes with the drive
		driven <- d.Run(ctx, screenEvery, d.showing(d.board.show))
	}()
	err := screen.Run(ctx, term, a.clock, &d.board, d.actions(), screen.Options{Palette: palette})
	stop(job.ErrTimeUp)
	return errors.Join(onlyUnexpected(<-driven), onlyUnexpected(err))
}

func onlyUnexpected(err error) error {
	if job.Ended(err) {
		return nil
	}
	return err
}
