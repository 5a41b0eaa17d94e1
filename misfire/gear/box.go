package gear

import (
	"fmt"

	"stumble/misfire/gear/lever"
)

// Box is what the user told of the gearbox: the one question that helps inference most.
type Box uint8

const (
	NotTold   Box = iota
	Manual        // a clutch: no load from the box at rest
	Automatic     // with a torque converter, a CVT among them
	OtherBox      // dual clutch, hybrid, or not known
)

// boxes are their names and what they tell the lever.
var boxes = [...]struct {
	name string
	box  lever.Box
}{
	NotTold:   {"", lever.NotTold},
	Manual:    {"manual", lever.Manual},
	Automatic: {"automatic", lever.Converter},
	OtherBox:  {"other", lever.Other},
}

// String is "", "manual", "automatic" or "other".
func (b Box) String() string {
	if int(b) < len(boxes) {
		return boxes[b].name
	}
	return ""
}

// ParseBox reads what String writes.
func ParseBox(name string) (Box, error) {
	for b := range boxes {
		if boxes[b].name == name {
			return Box(b), nil
		}
	}
	return NotTold, fmt.Errorf("no gearbox is called %q: say manual, automatic (with a converter, or a CVT) or other "+
		"(dual clutch, hybrid, not known)", name)
}
