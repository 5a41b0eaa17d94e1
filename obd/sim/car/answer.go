package car

import "time"

// Answer is what one control module puts on the bus after a request: whole service responses, in order.
type Answer struct {
	Module byte          // node address: 0x10 engine, 0x18 transmission; its CAN identifiers follow from it
	Data   []byte        // from the response service byte on; before CAN each message is an Answer of its own
	Delay  time.Duration // from the end of the request to the start of this answer
}
