package car

// OwnCounts is where a maker of the time before CAN keeps misfire counts, in data of its own. The places are invented, each
// as some maker could have it.
type OwnCounts uint8

// The places.
const (
	NoOwnCounts     OwnCounts = iota
	OwnByCylinder             // 21 31, 21 32 ..: two bytes, this driving cycle
	OwnTogether               // 21 A5: a byte a cylinder, percent of the last 200 turns by 100/255
	OwnByIdentifier           // 22 11 01, 22 11 02 ..: one byte that goes round at 256, since the clear
	OwnByTest                 // 06 53, component 1, 2 ..: two bytes, the last 200 turns, and a limit
)

// firesInBlock is how often a cylinder fires in 200 turns.
const firesInBlock = 100

// answerOwn answers requests for the maker's own counts; done is false for any other.
func (c *Car) answerOwn(r *reply, service byte, params []byte) (done bool) {
	cylinders := c.cfg.Vehicle.Cylinders()
	last := func() int { return int(params[len(params)-1]) }
	switch own := c.cfg.Controller.Own; {
	case len(params) == 0:
	case own == OwnByCylinder && service == 0x21 && len(params) == 1 && last() > 0x30 && last() <= 0x30+cylinders:
		n := c.counters.shown[last()-0x31]
		r.say(0x61, params[0], byte(n>>8), byte(n), 0x00)
		return true
	case own == OwnTogether && service == 0x21 && len(params) == 1 && params[0] == 0xA5:
		b := r.begin()
		*b = append(*b, 0x61, 0xA5)
		for _, n := range c.evaluation.lastBlock[:cylinders] {
			*b = append(*b, scaled(100*float64(n)/firesInBlock, 2.55))
		}
		return true
	case own == OwnByIdentifier && service == 0x22 && len(params) == 2 && params[0] == 0x11 && last() >= 1 && last() <= cylinders:
		i := last() - 1
		r.say(0x62, params[0], params[1], byte(c.counters.before[i]+uint32(c.counters.shown[i])))
		return true
	case own == OwnByTest && service == 0x06 && len(params) == 1 && params[0] == 0x53:
		for i, n := range c.evaluation.lastBlock[:cylinders] {
			r.say(0x46, 0x53, byte(i+1), byte(n>>8), byte(n), 0x00, 0x05)
		}
		return true
	}
	return false
}
