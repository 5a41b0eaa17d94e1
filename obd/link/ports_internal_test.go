package link

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The list itself is not asked for here: on some systems that opens every port there is.
func TestPortsAreSortedAndJoinedWithTheirDetails(t *testing.T) {
	names := []string{"/dev/ttyUSB10", "/dev/rfcomm0", "/dev/ttyUSB2", "/dev/ttyACM0"}
	details := []*usbPort{
		{Name: ""}, // what the library gives for a port without a device
		{Name: "/dev/ttyACM0"},
		{Name: "/dev/ttyUSB2", IsUSB: true, VID: "12ab", PID: "00ff", SerialNumber: "A-7", Product: "Bench \"adapter\""},
	}
	ports := portsOf(names, details)
	text, err := json.Marshal(ports)
	require.NoError(t, err)
	assert.JSONEq(t, `[
		{"path":"/dev/rfcomm0","usb":false},
		{"path":"/dev/ttyACM0","usb":false},
		{"path":"/dev/ttyUSB2","usb":true,"vendor_id":"12AB","product_id":"00FF","serial_number":"A-7","product":"Bench \"adapter\""},
		{"path":"/dev/ttyUSB10","usb":false}]`, string(text))
}

func TestNoPortsIsAnEmptyList(t *testing.T) {
	text, err := json.Marshal(portsOf(nil, nil))
	require.NoError(t, err)
	assert.Equal(t, "[]", string(text))
}

func TestPortsAreOrderedByNameThenNumber(t *testing.T) {
	inOrder := []string{"/dev/rfcomm0", "/dev/ttyS9", "/dev/ttyS10", "/dev/ttyUSB0", "COM1", "COM3", "COM12"}
	for i, a := range inOrder {
		for j, b := range inOrder {
			assert.Equal(t, i < j, byNumber(a, b) < 0, "%s before %s", a, b)
		}
	}
}
