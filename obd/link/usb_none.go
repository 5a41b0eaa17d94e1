//go:build darwin && !cgo

package link

// usbDetails is empty: macOS tells USB details only through its C library, which this build leaves out.
func usbDetails() []*usbPort { return nil }

// usbPort mirrors what portsOf looks at.
type usbPort struct {
	Name, VID, PID, SerialNumber, Product string
	IsUSB                                 bool
}
