package link

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial"
)

// Port is a serial port of this computer. All but Path are empty unless the port is on USB and says so.
type Port struct {
	Path         string `json:"path"`
	USB          bool   `json:"usb"`
	VendorID     string `json:"vendor_id,omitempty"`  // four hexadecimal digits, upper case
	ProductID    string `json:"product_id,omitempty"` // four hexadecimal digits, upper case
	SerialNumber string `json:"serial_number,omitempty"`
	Product      string `json:"product,omitempty"`
}

// Ports lists this computer's serial ports by path, ttyUSB2 before ttyUSB10. None is no error. A port
// that the system does not list, such as a pseudo-terminal, can be opened all the same.
func Ports() ([]Port, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w; give the port yourself with --port", err)
	}
	return portsOf(names, usbDetails()), nil
}

func portsOf(names []string, details []*usbPort) []Port {
	ports := make([]Port, 0, len(names))
	for _, name := range names {
		p := Port{Path: name}
		for _, d := range details {
			if d.Name == name && d.IsUSB {
				p = Port{Path: name, USB: true, VendorID: strings.ToUpper(d.VID), ProductID: strings.ToUpper(d.PID),
					SerialNumber: d.SerialNumber, Product: d.Product}
			}
		}
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b Port) int { return byNumber(a.Path, b.Path) })
	return ports
}

// byNumber orders a port's name first, then its number by size.
func byNumber(a, b string) int {
	nameA, nameB := strings.TrimRight(a, "0123456789"), strings.TrimRight(b, "0123456789")
	numA, numB := a[len(nameA):], b[len(nameB):]
	return cmp.Or(cmp.Compare(nameA, nameB), cmp.Compare(len(numA), len(numB)), cmp.Compare(numA, numB))
}
