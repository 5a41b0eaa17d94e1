package car

// step is one tick of everything.
func (c *Car) step() {
	m := &c.machine
	awake, ran := m.key != asleep, m.running
	c.driver.act(m)
	if ran && !m.running {
		c.endCycle()
	}
	if !awake || m.key == asleep {
		c.verified = false
	}
	metres := m.metres
	if m.step(c.driver.foot, &c.driver) {
		c.beginCycle()
	}
	c.turn()
	if !m.running {
		return
	}
	if c.ticks%5 == 0 {
		c.mixture.step(m, c.cfg.Faults, &c.conditions)
		c.memory.compare(m)
	}
	closed := m.loop() == closedLoop
	c.cycle.step(m, closed)
	c.memory.monitors.step(m, closed)
	c.log(&c.memory, m.metres-metres)
	c.log(&c.gearbox, m.metres-metres)
}

// log runs the meters that go on since a clear or with the lamp on.
func (c *Car) log(f *memory, metres float64) {
	f.kmClear += metres / 1000
	f.secondsClear += tick
	if f.mil {
		f.kmMIL += metres / 1000
		f.secMIL += tick
	}
}

func (c *Car) beginCycle() {
	c.cycles++
	c.counters.begin()
	c.evaluation.begin()
	c.cycle = newCycle(c.machine.coolant)
	c.cut = [maxCylinders]bool{}
	if c.cycle.monitors.cold {
		c.memory.monitors.cold = true
	}
}

func (c *Car) endCycle() {
	c.counters.end()
	c.evaluation.damaging = false
	c.memory.endCycle(&c.cycle)
	c.gearbox.endCycle(&c.cycle)
}

// turn lets the crank pass over the firings of a tick, and the controller over its blocks.
func (c *Car) turn() {
	m := &c.machine
	n := len(m.v.FiringOrder)
	revs := m.crank / 60 * tick
	c.angle += revs * float64(n) / 2
	if c.angle >= 1 && m.crank > 0 {
		c.fireAll(n)
	}
	if !m.running {
		return
	}
	c.counters.turn(revs, tick)
	if c.monitored() {
		limit := catalystLimit(m.crank, m.load)
		c.evaluation.fast.add(revs, limit, m.crank, m.load)
		c.evaluation.slow.add(revs, limit, m.crank, m.load)
		if v := c.evaluation.judge(); v.catalyst || v.emission || v.over {
			c.react(v)
		}
	}
}

// monitored reports whether the controller can judge firings now: from the second crank turn after the start,
// misfire-rules section 1.5, and while fuel is given.
func (c *Car) monitored() bool { return c.machine.running && c.machine.revs >= 2 && !c.machine.fuelCut }

// fireAll draws the firings that have come due.
func (c *Car) fireAll(n int) {
	m := &c.machine
	if !c.monitored() {
		for ; c.angle >= 1; c.angle-- {
			c.truth.unmonitored[c.turnOf()-1]++
		}
		return
	}
	gear := m.gearState()
	c.conditions = Conditions{
		Gear: gear, Number: m.gear, Load: m.load, RPM: m.crank, Coolant: m.coolant, Elapsed: c.lived().Seconds(),
	}
	c.combustion.judge(&c.conditions)
	row := c.truth.row(Key{
		Gear: gear, Number: m.gear, Load: int(m.load), RPM: int(m.crank) / 50 * 50, Warm: m.coolant >= 70,
	})
	for ; c.angle >= 1; c.angle-- {
		cyl := c.turnOf()
		if c.cut[cyl-1] {
			c.truth.unmonitored[cyl-1]++
			m.miss()
			continue
		}
		c.fire(cyl, &row[cyl-1])
	}
}

// turnOf is the cylinder whose turn it is.
func (c *Car) turnOf() int {
	order := c.cfg.Vehicle.FiringOrder
	cyl := order[c.slot]
	if c.slot++; c.slot == len(order) {
		c.slot = 0
	}
	return cyl
}

// fire is one firing that counts.
func (c *Car) fire(cyl int, t *Tally) {
	missed, chance := c.combustion.fire(cyl), c.combustion.chance[cyl-1]
	starved := !missed && c.starved(cyl)
	if c.starved(cyl) {
		missed, chance = true, 1
	}
	t.Firings++
	t.Expected += chance
	c.evaluation.fast.fired(cyl, missed)
	c.evaluation.slow.fired(cyl, missed)
	if !missed {
		return
	}
	t.Misses++
	c.counters.miss(cyl)
	if starved {
		c.machine.lose(c.work(cyl))
	} else {
		c.machine.miss()
	}
	bank := c.bank[cyl-1]
	perSecond := c.machine.crank / 120 * float64(len(c.cfg.Vehicle.Banks[bank]))
	c.mixture.missed[bank] = min(1, c.mixture.missed[bank]+1/(4*perSecond))
}

// react is what the controller makes of a block over its limit: codes, lamp and, in some cars, the injector. A
// catalyst code held from an earlier cycle is confirmed by any block over the limit, misfire-rules section 2.
func (c *Car) react(v verdict) {
	held := c.memory.pending.n > 0 && c.memory.pendingCycle < c.cycles
	if !v.catalyst && !v.emission && !(v.over && held) {
		return
	}
	c.live.read(&c.machine, &c.mixture, c.volts())
	c.memory.event(v.code, c.cycles, &c.live)
	if v.over && held {
		c.evaluation.damaging = true // no waiting for the third block: the lamp flashes at once
	}
	if v.catalyst && v.cylinder > 0 && c.cfg.Controller.CutsFuel {
		c.cut[v.cylinder-1] = true
		c.evaluation.damaging = false
		c.memory.event(0x0363, c.cycles, &c.live)
	}
}
