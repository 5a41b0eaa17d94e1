package wire

import "stumble/obd/link"

// Port is one serial port as JSON: {"kind":"port",...}.
type Port struct {
	Kind string `json:"kind"` // "port"
	link.Port
	Adapter bool   `json:"adapter"`
	Baud    int    `json:"baud,omitempty"`
	Why     string `json:"why,omitempty"` // why it is no adapter
	// Examined is what the last examination of the adapter there found it good for.
	Examined string `json:"examined,omitempty"`
}
