package link

import (
	"context"
	"errors"
	"fmt"
	"io"
	"runtime"
	"testing"
	"time"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.bug.st/serial"

	"stumble/obd/clock"
)

// picky is a port that refuses one speed and, as on Windows, is of no more use then.
type picky struct {
	serial.Port
	refused int
}

func (p *picky) SetMode(m *serial.Mode) error {
	if m.BaudRate != p.refused {
		return p.Port.SetMode(m)
	}
	_ = p.Port.Close()
	return io.ErrUnexpectedEOF
}

func TestFindBaudPassesOverARefusedSpeed(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows has no pseudo-terminal that could stand for a serial port")
	}
	master, slave, err := pty.Open()
	require.NoError(t, err)
	defer master.Close()
	defer slave.Close()

	var opened, asked []int
	var current *serialLink
	open := func(baud int) (*serialLink, error) {
		opened = append(opened, baud)
		l, err := openSerial(slave.Name(), baud, clock.NewStepped(time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC)))
		require.NoError(t, err)
		l.port = &picky{l.port, 9600}
		current = l
		return l, nil
	}
	silent := errors.New("no answer")
	ask := func(context.Context, Link) error {
		asked = append(asked, current.baud)
		if current.baud == 57600 {
			return nil
		}
		return silent
	}
	l, err := findBaud(t.Context(), slave.Name(), speeds(0), open, ask)
	require.NoError(t, err)
	defer l.Close()
	assert.Equal(t, 57600, l.baud)
	assert.Equal(t, []int{38400, 57600}, opened, "opened again only after the refusal")
	assert.Equal(t, []int{38400, 115200, 57600}, asked)
}

// The speed that an adapter was found at before is tried first.
func TestKnownSpeedFirst(t *testing.T) {
	assert.Equal(t, BaudRates(), speeds(0))
	assert.Equal(t, []int{500000, 38400, 115200, 9600, 57600, 230400}, speeds(500000))
	assert.Equal(t, append([]int{31250}, BaudRates()...), speeds(31250))
}

func TestBaudErrorNamesARefusedSpeed(t *testing.T) {
	err := &BaudError{Path: "COM3", Tries: []BaudTry{
		{38400, errors.New("no answer")},
		{500000, &Error{Op: "open", Where: "COM3", Reason: BadSpeed}},
	}}
	assert.ErrorIs(t, err, BadSpeed)
	assert.Contains(t, err.Error(), "(at 38400: no answer; at 500000: the port cannot run at this speed); check")
}

func TestBaudErrorSaysEachAnswerOnce(t *testing.T) {
	silent, garbled := errors.New("no answer"), errors.New("no adapter")
	asked := func(err error) error { return fmt.Errorf("ATI: %w", err) }
	failed := &BaudError{Path: "/dev/ttyUSB0", Tries: []BaudTry{
		{38400, asked(silent)}, {115200, asked(garbled)}, {9600, asked(silent)},
	}}
	assert.Equal(t, "at 38400, 9600: no answer; at 115200: no adapter", failed.Heard())
	assert.ErrorIs(t, failed, garbled)

	failed.Tries[1].Err = silent
	assert.Equal(t, "no adapter answers on /dev/ttyUSB0 (at any speed: no answer); "+
		"check that it is in the diagnostic socket with the ignition on, or choose another port", failed.Error())
}
