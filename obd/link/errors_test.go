package link_test

import (
	"context"
	"errors"
	"net"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// requireOpenError holds an error to what every error of opening is: of its reason, one line, the place
// named, and what to do.
func requireOpenError(t *testing.T, err error, reason link.Reason, where, remedy string) {
	t.Helper()
	require.ErrorIs(t, err, reason)
	var opening *link.Error
	require.ErrorAs(t, err, &opening)
	assert.Equal(t, reason, opening.Reason)
	assert.True(t, strings.HasPrefix(err.Error(), "open "+where+": "), err.Error())
	assert.NotContains(t, err.Error(), "\n")
	_, advice, ok := strings.Cut(err.Error(), "; ")
	assert.True(t, ok, "%q does not say what to do", err)
	assert.Contains(t, advice, remedy)
}

func TestOpeningWhatIsNoSerialPort(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows does not open a file where a port is asked for")
	}
	file := filepath.Join(t.TempDir(), "notes.txt")
	require.NoError(t, os.WriteFile(file, []byte("no port"), 0o600))
	missing := filepath.Join(t.TempDir(), "ttyUSB7")
	for where, want := range map[string]struct {
		reason link.Reason
		remedy string
	}{
		missing:                   {link.NoSuchPort, "plugged in"},
		filepath.Join(file, "x"):  {link.NoSuchPort, "plugged in"},
		file:                      {link.NotSerial, "give the device of a serial port"},
		os.DevNull:                {link.NotSerial, "give the device of a serial port"},
		t.TempDir():               {link.NotSerial, "give the device of a serial port"},
		"/dev/tty\x00":            {link.Unusable, "plugged in"},
		strings.Repeat("a", 5000): {link.Unusable, "plugged in"},
	} {
		l, err := link.Serial(where, 38400, newClock())
		assert.Nil(t, l)
		requireOpenError(t, err, want.reason, where, want.remedy)
	}
}

func TestOpeningAtNoSpeed(t *testing.T) {
	_, path := openPTY(t)
	for _, baud := range []int{0, -9600} {
		_, err := link.Serial(path, baud, newClock())
		requireOpenError(t, err, link.BadSpeed, path, "38400")
	}
}

func TestDialRefused(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := listener.Addr().String()
	require.NoError(t, listener.Close())
	l, err := link.TCP(t.Context(), address, clock.System{})
	assert.Nil(t, l)
	requireOpenError(t, err, link.Refused, address, "no other program is connected")
}

func TestDialGivenUpByTheCaller(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	told := errors.New("the operator left")
	cancel(told)
	address, _ := listen(t)
	_, err := link.TCP(ctx, address, clock.System{})
	assert.ErrorIs(t, err, told)
}

func TestDialNonsense(t *testing.T) {
	for _, address := range []string{"127.0.0.1", "127.0.0.1:99999", "127.0.0.1:x:y"} {
		_, err := link.TCP(t.Context(), address, clock.System{})
		var opening *link.Error
		require.ErrorAs(t, err, &opening, address)
		assert.NotContains(t, err.Error(), "\n")
	}
}

func TestReasonsAreDistinct(t *testing.T) {
	err := &link.Error{Op: "read", Where: "COM3", Reason: link.Gone, Cause: os.ErrClosed}
	assert.ErrorIs(t, err, link.ErrGone)
	assert.ErrorIs(t, err, link.Gone)
	assert.ErrorIs(t, err, os.ErrClosed)
	assert.NotErrorIs(t, err, link.Busy)
	assert.NotErrorIs(t, &link.Error{Reason: link.Busy}, link.ErrGone)
}
