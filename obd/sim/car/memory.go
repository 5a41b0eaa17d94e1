package car

// maxCodes keeps the lists of codes from ever growing.
const maxCodes = 8

// codeList is a short list of two-byte trouble codes without repeats.
type codeList struct {
	codes [maxCodes]uint16
	n     int
}

func codesOf(codes []uint16) (l codeList) {
	for _, c := range codes {
		l.add(c)
	}
	return l
}

func (l *codeList) all() []uint16 { return l.codes[:l.n] }

func (l *codeList) add(code uint16) {
	for _, c := range l.all() {
		if c == code {
			return
		}
	}
	if l.n < maxCodes {
		l.codes[l.n] = code
		l.n++
	}
}

func (l *codeList) empty() { l.n = 0 }

// memory is a module's memory of faults.
type memory struct {
	stored, pending, permanent codeList

	frame     sensors // as they were when frameCode was set
	frameCode uint16  // 0: no freeze frame

	mil          bool // lamp commanded on
	pendingCycle int  // driving cycle in which pending was set
	similar      bool // this cycle has met the frame's conditions
	detected     bool // this cycle has had an event
	passes       int  // cycles in a row with similar conditions and no event
	cleanWarmUps int  // warm-up cycles since the lamp went out

	warmUps              int // since the last clear
	kmClear, kmMIL       float64
	secondsClear, secMIL float64
	monitors             readiness // since the last clear
}

// event takes a code in: pending at first, stored with the lamp on when a pending one was held from an earlier
// driving cycle. The freeze frame is of the first event.
func (f *memory) event(code uint16, cycle int, now *sensors) {
	f.detected, f.passes = true, 0
	if f.pending.n == 0 {
		f.pendingCycle = cycle
	}
	f.pending.add(code)
	if f.frameCode == 0 {
		f.frame, f.frameCode = *now, code
	}
	if f.pendingCycle < cycle {
		f.confirm(code)
	}
}

func (f *memory) confirm(code uint16) {
	f.stored.add(code)
	f.permanent.add(code)
	if !f.mil {
		f.mil, f.kmMIL, f.secMIL = true, 0, 0
	}
	f.cleanWarmUps = 0
}

// compare notes whether the car now runs in similar conditions to the frame: speed within 375 rpm, load within
// 20 %, same warm state (misfire-rules section 3).
func (f *memory) compare(m *machine) {
	if f.similar || f.frameCode == 0 {
		return
	}
	rpm, load := m.crank-f.frame.rpm, m.load-f.frame.load
	warm := (m.coolant >= 70) == (f.frame.coolant >= 70)
	f.similar = warm && rpm > -375 && rpm < 375 && load > -20 && load < 20
}

// endCycle is the end of a driving cycle: codes heal, slowly.
func (f *memory) endCycle(d *cycle) {
	if d.warmedUp() {
		f.warmUps = min(255, f.warmUps+1)
		f.heal()
	}
	switch {
	case f.detected:
		f.passes = 0
	case f.similar:
		f.pending.empty()
		f.pass()
	}
	if !f.mil && f.stored.n == 0 && !f.detected && d.general() {
		// Cleared by a tool or a lost battery: one clean general trip, misfire-rules section 5.
		f.permanent.empty()
	}
	f.detected, f.similar = false, false
}

// pass counts a clean cycle in similar conditions; the third puts the lamp out, and the permanent code with it.
func (f *memory) pass() {
	if !f.mil {
		return
	}
	if f.passes++; f.passes >= 3 {
		f.mil = false
		f.permanent.empty()
	}
}

// heal counts warm-up cycles with the lamp out; the fortieth erases the stored code.
func (f *memory) heal() {
	if f.mil || f.stored.n == 0 {
		return
	}
	if f.cleanWarmUps++; f.cleanWarmUps >= 40 {
		f.stored.empty()
		f.frameCode = 0
	}
}

// clear is service 04: everything but the permanent codes (misfire-rules section 6).
func (f *memory) clear() { *f = memory{permanent: f.permanent} }
