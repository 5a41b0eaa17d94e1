//go:build !darwin || cgo

package link

import "go.bug.st/serial/enumerator"

// usbDetails are what the system knows of its ports. They are a help, not a condition: a Bluetooth port
// has none, and one odd device must not hide the others.
func usbDetails() []*usbPort {
	details, _ := enumerator.GetDetailedPortsList()
	return details
}

type usbPort = enumerator.PortDetails
