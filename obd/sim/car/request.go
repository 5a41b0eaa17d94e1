package car

import "time"

// Request hands one service request to the module at a node, or to all modules when node is 0, and appends
// what they answer to dst, ordered by delay. It overwrites the bytes held by spare elements of dst's array, so
// that a caller who passes the same slice cut to length 0 again and again costs no memory.
func (c *Car) Request(dst []Answer, at time.Time, node byte, request []byte) []Answer {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.advance(at)
	if c.machine.key == asleep || len(request) == 0 {
		return dst
	}
	from := len(dst)
	if node == 0 || node == EngineNode {
		dst = c.askEngine(dst, request, node == 0)
	}
	if (node == 0 || node == TransmissionNode) && c.transmissionListens() {
		dst = c.askTransmission(dst, request, node == 0)
	}
	inOrder(dst[from:])
	return dst
}

// transmissionListens reports whether there is a transmission module that still answers.
func (c *Car) transmissionListens() bool {
	silent := c.cfg.Controller.SilentAfter
	return c.cfg.Vehicle.Transmission && (silent <= 0 || c.lived() < silent)
}

// inOrder sorts a handful of answers by delay, keeping those of one module in their order.
func inOrder(a []Answer) {
	for i := 1; i < len(a); i++ {
		for j := i; j > 0 && a[j].Delay < a[j-1].Delay; j-- {
			a[j], a[j-1] = a[j-1], a[j]
		}
	}
}

// reply collects one module's answers to one request.
type reply struct {
	answers []Answer
	node    byte
	delay   time.Duration // of the next answer
	gap     time.Duration // between messages of one answer
}

// begin opens an answer; the bytes go to the slice it returns.
func (r *reply) begin() *[]byte {
	if len(r.answers) < cap(r.answers) {
		r.answers = r.answers[:len(r.answers)+1]
	} else {
		r.answers = append(r.answers, Answer{})
	}
	a := &r.answers[len(r.answers)-1]
	a.Module, a.Delay, a.Data = r.node, r.delay, a.Data[:0]
	r.delay += r.gap
	return &a.Data
}

// say is an answer of known bytes.
func (r *reply) say(data ...byte) {
	b := r.begin()
	*b = append(*b, data...)
}

// dropEmpty takes the last answer back if nothing follows its first n bytes.
func (r *reply) dropEmpty(n int) {
	if last := len(r.answers) - 1; len(r.answers[last].Data) <= n {
		r.answers = r.answers[:last]
		r.delay -= r.gap
	}
}

// open prepares a module's reply: some milliseconds on CAN, tens on the older buses, never quite the same.
func (c *Car) open(dst []Answer, node byte) reply {
	base, gap := c.cfg.Controller.Latency, time.Duration(0)
	p := c.cfg.Vehicle.Protocol
	switch {
	case base > 0:
	case p.CAN():
		base = 12 * time.Millisecond
	case p.J1850():
		base = 18 * time.Millisecond
	default:
		base = 40 * time.Millisecond
	}
	if !p.CAN() {
		gap = base / 2
	}
	if node == TransmissionNode {
		base += 3 * time.Millisecond
	}
	wander := time.Duration((uniform(c.jitter) - 0.5) * 0.5 * float64(base))
	return reply{answers: dst, node: node, delay: (base + wander).Round(10 * time.Microsecond), gap: gap}
}

// refuse is a negative response, where the bus has them for services nobody knows.
func (c *Car) refuse(r *reply, service byte) {
	p := c.cfg.Vehicle.Protocol
	if !p.CAN() && !p.J1850() {
		r.say(0x7F, service, 0x11)
	}
}

// askEngine is the engine module's answer.
func (c *Car) askEngine(dst []Answer, request []byte, toAll bool) []Answer {
	r := c.open(dst, EngineNode)
	if c.byID(&r, request, toAll) {
		return r.answers
	}
	service, params := request[0], request[1:]
	can := c.cfg.Vehicle.Protocol.CAN()
	switch {
	case c.answerOwn(&r, service, params):
	case service == 0x01:
		c.live.read(&c.machine, &c.mixture, c.volts())
		c.answerLive(&r, &c.engine, &c.memory, params)
	case service == 0x02:
		c.answerFrozen(&r, params)
	case service == 0x03:
		c.answerCodes(&r, 0x43, c.memory.stored.all())
	case service == 0x07:
		c.answerCodes(&r, 0x47, c.memory.pending.all())
	case service == 0x0A && can:
		c.answerCodes(&r, 0x4A, c.memory.permanent.all())
	case service == 0x04:
		c.answerClear(&r)
	case service == 0x06 && can:
		c.answerTests(&r, params)
	case service == 0x06:
		c.answerOldTests(&r, params)
	case service == 0x09 && can:
		c.answerInfo(&r, params)
	case service == 0x09:
		c.answerOldInfo(&r, params)
	default:
		c.refuse(&r, service)
	}
	return r.answers
}

// askTransmission is the transmission module's answer. It keeps no freeze frame and runs no on-board tests.
func (c *Car) askTransmission(dst []Answer, request []byte, toAll bool) []Answer {
	r := c.open(dst, TransmissionNode)
	if c.byID(&r, request, toAll) {
		return r.answers
	}
	switch request[0] {
	case 0x01:
		c.live.read(&c.machine, &c.mixture, c.volts())
		c.answerLive(&r, &c.transmission, &c.gearbox, request[1:])
	case 0x03:
		c.answerCodes(&r, 0x43, c.gearbox.stored.all())
	case 0x07:
		c.answerCodes(&r, 0x47, c.gearbox.pending.all())
	case 0x0A:
		c.answerCodes(&r, 0x4A, c.gearbox.permanent.all())
	case 0x04:
		if c.machine.running {
			r.say(0x7F, 0x04, 0x22)
			break
		}
		c.gearbox.clear()
		r.say(0x44)
	case 0x09:
		c.answerTransmissionInfo(&r, request[1:])
	}
	return r.answers
}

// answerClear erases, with the engine off only (misfire-rules section 6).
func (c *Car) answerClear(r *reply) {
	if c.machine.running {
		r.say(0x7F, 0x04, 0x22)
		return
	}
	c.erase()
	r.say(0x44)
}

// erase is what a clear does to the engine module.
func (c *Car) erase() {
	c.memory.clear()
	c.counters.clear()
	c.evaluation = newEvaluation()
	c.mixture = mixture{}
}

// answerCodes lists trouble codes: with a count on CAN, three a message padded with zeros before it.
func (c *Car) answerCodes(r *reply, response byte, codes []uint16) {
	if c.cfg.Vehicle.Protocol.CAN() {
		b := r.begin()
		*b = append(*b, response, byte(len(codes)))
		for _, code := range codes {
			*b = append(*b, byte(code>>8), byte(code))
		}
		return
	}
	for first := true; first || len(codes) > 0; first = false {
		b := r.begin()
		*b = append(*b, response)
		for i := range 3 {
			var code uint16
			if i < len(codes) {
				code = codes[i]
			}
			*b = append(*b, byte(code>>8), byte(code))
		}
		codes = codes[min(3, len(codes)):]
	}
}
