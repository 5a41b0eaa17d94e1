package lever

import "math"

// states of the chain: the lever in gear or not, an accessory on or not.
const (
	inGear = 2
	isOn   = 1
	states = 4
)

type vector [states]float64
type matrix [states]vector // from, to

// node is one stretch between two boundaries, with what leads to it from the one before.
type node struct {
	rest, part int     // of which rest, and its place in it
	length     float64 // seconds, as they count
	step       int     // the place in fits of the step before it, -1 when it is no step
}

// scene is a drive as all hypotheses see it.
type scene struct {
	rests []rest
	kinds []kind
	nodes []node
	fits  []fits
	uses  [maxKinds]float64 // how often each kind goes on or off, a second of rest
	total float64           // s at rest
	count int               // steps
	prior float64           // of being in gear where the first rest was cut
}

// lay puts the stretches of all rests in a row.
func (c *scene) lay(rests []rest) {
	c.rests, c.nodes, c.fits = rests, c.nodes[:0], c.fits[:0]
	c.total, c.count = 0, 0
	c.kinds = kindsOf(c.kinds, rests)
	for i := range rests {
		r := &rests[i]
		c.total += r.length()
		for part := range len(r.steps) + 1 {
			from, to := r.stretch(part)
			n := node{rest: i, part: part, length: min(max(to-from, 0), longestWeight), step: -1}
			if part > 0 && r.steps[part-1].sort == stepped {
				n.step = len(c.fits)
				c.fits = append(c.fits, fits{})
				c.fits[n.step].of(&r.steps[part-1], c.kinds)
				c.count++
			}
			c.nodes = append(c.nodes, n)
		}
	}
	for i := range c.kinds {
		c.uses[i] = max(c.kinds[i].n/max(c.total, 1), leastUse)
	}
}

// begin is how a hypothesis has the drive begin.
func (c *scene) begin(h *hypothesis) vector {
	gear := 0.5
	switch {
	case !h.loads:
		gear = 0
	case c.rests[0].start == Stop:
		gear = h.stays
	case c.prior >= 0:
		gear = c.prior
	case c.rests[0].start != Joined:
		gear = 1 - startsInPark
	}
	if h.accessory < 0 {
		return vector{0: 1 - gear, inGear: gear}
	}
	return vector{(1 - gear) / 2, (1 - gear) / 2, gear / 2, gear / 2}
}

// weigh is what the stretch itself says of each state.
func (c *scene) weigh(h *hypothesis, n *node, v *vector) {
	park, gear := 1.0, 1.0
	if h.loads {
		park, gear = math.Exp(-n.length*outOfPark), math.Exp(-n.length*outOfGear)
	}
	r := &c.rests[n.rest]
	from, to := r.stretch(n.part)
	for _, a := range r.anchors {
		if a.at >= from && (a.at < to || n.part == len(r.steps)) {
			p, g := 1-a.sure, a.sure
			if a.call == saidPark {
				p, g = a.sure, 1-a.sure
			}
			if !h.loads {
				p, g = 0.5, 0.5
			}
			park, gear = park*p, gear*g
		}
	}
	if n.part == len(r.steps) && r.end == MovedOff {
		from := offFromPark
		if r.fell {
			from *= hiddenByCold
		}
		if !h.loads {
			from = offFromGear
		}
		park, gear = park*from, gear*offFromGear
	}
	v[0], v[isOn], v[inGear], v[inGear|isOn] = v[0]*park, v[isOn]*park, v[inGear]*gear, v[inGear|isOn]*gear
}

// into is how the stretch before leads to one; other is that part of it that neither lever nor accessory explains.
func (c *scene) into(h *hypothesis, n *node, m, other *matrix) {
	*m, *other = matrix{}, matrix{}
	switch {
	case n.part == 0:
		c.restInto(h, n, m)
	case n.step >= 0:
		c.stepInto(h, n, m, other)
	default:
		c.gapInto(h, n, m)
	}
}

// stepInto is a step of the load.
func (c *scene) stepInto(h *hypothesis, n *node, m, other *matrix) {
	s, f := &c.rests[n.rest].steps[n.part-1], &c.fits[n.step]
	up := s.load > 0
	hidden := 0.0
	if h.loads {
		hidden = hiddenByStep
	}
	use := 0.0
	if h.accessory >= 0 {
		use = c.uses[h.accessory] * f.accessory[h.accessory]
	}
	for from := range states {
		for _, flip := range [...]int{0, inGear} {
			chance := hidden
			if flip == 0 {
				chance = 1 - hidden
			}
			other[from][from^flip] = f.other * chance
			m[from][from^flip] += f.other * chance
			if on := from&isOn != 0; on != up {
				m[from][from^flip^isOn] += use * chance
			}
		}
		if in := from&inGear != 0; h.lever >= 0 && in != up {
			rate := outOfPark
			if in {
				rate = outOfGear
			}
			m[from][from^inGear] += rate * f.lever[h.lever]
		}
	}
	c.bothInto(h, s, m)
	if s.forced != nobody {
		force(h, s.forced == saidGear, m)
	}
}

// bothInto is lever and accessory within the time of one step, of which only the sum is seen.
func (c *scene) bothInto(h *hypothesis, s *step, m *matrix) {
	if h.lever < 0 || h.accessory < 0 {
		return
	}
	l, a := &c.kinds[h.lever], &c.kinds[h.accessory]
	chance := c.uses[h.accessory] * pulse
	for from := range states {
		lever, accessory, rate := 1.0, 1.0, outOfPark
		if from&inGear != 0 {
			lever, rate = -1, outOfGear
		}
		if from&isOn != 0 {
			accessory = -1
		}
		load, rpm := lever*l.load+accessory*a.load, lever*l.rpm+accessory*a.rpm
		wide := kind{load: l.load + a.load, rpm: math.Abs(l.rpm) + math.Abs(a.rpm)}
		m[from][from^inGear^isOn] += rate * chance * alike(s.load-load, s.rpm-rpm, &wide)
	}
}

// force leaves the ways by which the lever went where it is known to have gone.
func force(h *hypothesis, gear bool, m *matrix) {
	const mistaken, byChance = 0.01, 0.05
	for from := range states {
		for to := range states {
			switch {
			case !h.loads:
				m[from][to] *= byChance
			case to&inGear == from&inGear || to&inGear != 0 != gear:
				m[from][to] *= mistaken
			}
		}
	}
}

// gapInto is a blip of the pedal, or a hole in the data.
func (c *scene) gapInto(h *hypothesis, n *node, m *matrix) {
	s := &c.rests[n.rest].steps[n.part-1]
	hidden := min(hiddenByBlip+hiddenByHole*max(s.until-s.at-longBlip, 0), 0.3)
	if s.sort == holed {
		hidden = min(hiddenByHole*(s.until-s.at), 0.5)
	}
	if !h.loads {
		hidden = 0
	}
	c.join(h, m, s.load, 1+0.006*(s.until-s.at)+0.008*math.Abs(s.rpm), func(from, to int) float64 {
		if s.raced && h.loads {
			return throughPark(from, to)
		}
		if from&inGear != to&inGear {
			return hidden
		}
		return 1 - hidden
	})
}

// throughPark is the chance of a way that leads through park: the lever may be moved just before and just after racing.
func throughPark(from, to int) float64 {
	const moved = 0.2
	p := 1.0
	if from&inGear != 0 {
		p *= moved
	}
	if to&inGear != 0 {
		return p * moved
	}
	return p * (1 - moved)
}

// restInto is what lay between two rests.
func (c *scene) restInto(h *hypothesis, n *node, m *matrix) {
	r, before := &c.rests[n.rest], &c.rests[n.rest-1]
	same := 0.5
	switch {
	case r.start == Restart || r.start == FirstStart:
		same = restartsAs
	case r.start == Joined:
		same = 1 - min(hiddenByHole*(r.from-before.to), 0.5)
	}
	rpm := r.first.rpm - before.last.rpm
	sigma := 1 + 0.006*(r.from-before.to) + 0.008*math.Abs(rpm)
	c.join(h, m, r.first.load-before.last.load, sigma, func(from, to int) float64 {
		gear := to&inGear != 0
		switch {
		case !h.loads:
			if gear {
				return 0
			}
			return 1
		case r.start == Stop && gear:
			return h.stays
		case r.start == Stop:
			return 1 - h.stays
		case from&inGear == to&inGear:
			return same
		}
		return 1 - same
	})
}

// join weighs each way from one idle to the next by its chance and by how well it explains the change of load.
func (c *scene) join(h *hypothesis, m *matrix, change, sigma float64, chance func(from, to int) float64) {
	lever, more := 7.0, 3.0 // of a lever never seen
	if h.lever >= 0 {
		lever, more = c.kinds[h.lever].load, 0
	}
	accessory := 0.0
	if h.accessory >= 0 {
		accessory = c.kinds[h.accessory].load
	}
	for from := range states {
		for to := range states {
			if h.accessory < 0 && to&isOn != 0 {
				continue
			}
			p := chance(from, to)
			if p == 0 {
				continue
			}
			switched := float64(to&isOn - from&isOn)
			moved := float64(to&inGear-from&inGear) / inGear
			if h.accessory >= 0 {
				p *= accessoryHeld - (2*accessoryHeld-1)*math.Abs(switched)
			}
			if !math.IsNaN(change) && !math.IsNaN(sigma) {
				off := change - moved*lever - switched*accessory
				p *= 0.6*normal(off, sigma+more*math.Abs(moved)) + 0.4*normal(off, 8)
			}
			m[from][to] = p
		}
	}
}

// passes are the messages of one hypothesis.
type passes struct {
	forward []vector
	ways    []matrix
	others  []matrix
}

// run goes over the drive once and gives the logarithm of the evidence.
func (p *passes) run(c *scene, h *hypothesis) float64 {
	p.forward, p.ways, p.others = p.forward[:0], p.ways[:0], p.others[:0]
	evidence := math.Log(h.prior)
	if h.accessory >= 0 {
		evidence -= c.total * c.uses[h.accessory]
	}
	v := c.begin(h)
	for i := range c.nodes {
		n := &c.nodes[i]
		var m, other matrix
		if i > 0 {
			c.into(h, n, &m, &other)
			v = v.times(&m)
		}
		p.ways, p.others = append(p.ways, m), append(p.others, other)
		c.weigh(h, n, &v)
		sum := v.scale()
		evidence += math.Log(sum)
		p.forward = append(p.forward, v)
	}
	return evidence
}

func (v *vector) times(m *matrix) (to vector) {
	for i := range states {
		for j := range states {
			to[j] += v[i] * m[i][j]
		}
	}
	return to
}

// scale makes the sum 1 and gives what it was.
func (v *vector) scale() float64 {
	sum := v[0] + v[1] + v[2] + v[3]
	if !(sum > 0) {
		return 1e-300
	}
	for i := range v {
		v[i] /= sum
	}
	return sum
}

// back goes back over what run went over, and hands each stretch's smoothed states, and how far neither lever nor
// accessory explains the way into it, to take.
func (p *passes) back(c *scene, h *hypothesis, take func(i int, states vector, unexplained float64)) {
	after := vector{1, 1, 1, 1} // weight of all that follows, but for the stretch's own
	for i := len(c.nodes) - 1; i >= 0; i-- {
		smoothed := p.forward[i]
		for s := range smoothed {
			smoothed[s] *= after[s]
		}
		smoothed.scale()
		if i == 0 {
			take(0, smoothed, 0)
			return
		}
		own := after
		c.weigh(h, &c.nodes[i], &own)
		take(i, smoothed, p.share(i, &own))
		var before vector
		for from := range states {
			for to := range states {
				before[from] += p.ways[i][from][to] * own[to]
			}
		}
		before.scale()
		after = before
	}
}

// share is the part of the way into a stretch that neither lever nor accessory explains.
func (p *passes) share(i int, own *vector) float64 {
	all, other := 0.0, 0.0
	for from := range states {
		for to := range states {
			w := p.forward[i-1][from] * own[to]
			all += w * p.ways[i][from][to]
			other += w * p.others[i][from][to]
		}
	}
	if !(all > 0) {
		return 0
	}
	return other / all
}
