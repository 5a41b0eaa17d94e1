// Package vehicle is a connected car: what it supports, the plan by which it is polled, and the stream of
// samples that comes of it; and the one-time readings of an intake. It speaks through the dialogue of
// package elm and decodes with package obd.
package vehicle

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"stumble/obd"
	"stumble/obd/counters"
	"stumble/obd/elm"
)

// Asker sends one request to the car: *elm.Adapter is one.
type Asker interface {
	Do(ctx context.Context, req obd.Request) (elm.Answer, error)
	Protocol() obd.Protocol
}

// Capabilities is what a car said it supports.
type Capabilities struct {
	Protocol obd.Protocol
	Modules  []Module  // in order of address: the engine module first on a usual car
	Monitors []Monitor // misfire monitors of cylinders, in order of monitor id
	General  bool      // the monitor of the engine as a whole (A1) is there
	// Limits of whole-engine misfire in percent, for blocks of 200 and 1000 revolutions, where the car
	// tells them as percentages among the tests of monitor A1; 0 where it does not.
	CatalystLimit, EmissionLimit float64
	// Counters is the user's own table of the maker's counters; where there is one it is counted by that alone.
	Counters counters.Table `json:"-"`
	// Unread is what the car says it has, or may have, and did not answer when it was asked: no proof that it lacks it.
	Unread []obd.Unread

	// What polling has learnt of the car.
	CountLines int      // of the answer of one cylinder's monitor, 0 before the first
	Size       int      // the most PIDs that a request may hold; 0: not known
	Pairs      Pairing  // whether two monitors may be asked in one request
	ToAll      []string // requests, in hexadecimal, that no module answers when it is asked alone
}

// Pairing is whether two monitors may be asked in one request.
type Pairing uint8

// The states of a Pairing.
const (
	PairsUnknown Pairing = iota
	PairsAnswered
	PairsRefused
)

// Module is one control module.
type Module struct {
	Address obd.Module
	PIDs    obd.Support // service 01
	Tests   obd.Support // service 06, CAN only
	Info    obd.Support // service 09
	UDS     bool        // it says that it speaks OBD on UDS (SAE J1979-2)
	ByID    bool        // it tells the values of those services by identifiers alone (service 22)
}

// Monitor is one cylinder's misfire monitor.
type Monitor struct {
	Module   obd.Module
	MID      byte
	Cylinder int  // by the standard's numbering; a car may mean the place in the firing order
	Counts   bool // it carries the count of this driving cycle (test 0C)
	ByCode   bool // its counts hang on the cylinder's misfire code (service 19)
}

// Has reports whether any module supports a PID of service 01.
func (c *Capabilities) Has(pid byte) bool {
	return slices.ContainsFunc(c.Modules, func(m Module) bool { return m.PIDs.Has(pid) })
}

// HasInfo reports whether any module supports an information type of service 09.
func (c *Capabilities) HasInfo(id byte) bool {
	return slices.ContainsFunc(c.Modules, func(m Module) bool { return m.Info.Has(id) })
}

// MayHaveInfo reports whether an information type of service 09 is worth asking for: a module lists it, or the engine's
// module told no list.
func (c *Capabilities) MayHaveInfo(id byte) bool {
	return c.HasInfo(id) || len(c.Modules) == 0 || c.Modules[0].Info == obd.Support{}
}

// UnreadMonitors are the misfire monitors that the car lists and did not answer for.
func (c *Capabilities) UnreadMonitors() (mids []byte) {
	for _, u := range c.Unread {
		if u.What == obd.UnreadTest {
			mids = append(mids, u.ID)
		}
	}
	return mids
}

// Cylinders is the number of cylinders that have a count, taken to be the highest of them; 0 without counts.
func (c *Capabilities) Cylinders() int {
	n := 0
	for _, m := range c.Monitors {
		if m.Counts {
			n = max(n, m.Cylinder)
		}
	}
	for i := range c.Counters {
		n = max(n, c.Counters[i].Cylinder)
	}
	return n
}

// Discover asks the car what it supports. A car that answers nothing but its first bitmap is no error. Its lists are
// taken for hints: what a list leaves out though it belongs to every car is asked for all the same.
func Discover(ctx context.Context, car Asker) (*Capabilities, error) {
	c := &Capabilities{Protocol: car.Protocol()}
	if err := c.live(ctx, car); err != nil {
		return nil, fmt.Errorf("asking what the car supports: %w", err)
	}
	if c.older() {
		if err := optional(ctx, c.bitmaps(ctx, car, obd.VehicleInfo)); err != nil {
			return nil, err
		}
	}
	if !c.Protocol.CAN() {
		return c, nil // no standard misfire counts there
	}
	car = c.speaking(car, true)
	var refused obd.NegativeResponse
	if err := c.bitmaps(ctx, car, obd.TestResults); err != nil && !c.engineByID() && !errors.As(err, &refused) {
		if err := note(ctx, &c.Unread, obd.Unread{What: obd.UnreadTests}, err); err != nil {
			return nil, err
		}
	}
	if err := c.misfireMonitors(ctx, car); err != nil {
		return c, err
	}
	return c, c.recordMonitors(ctx, car)
}

// live asks which live data there are, in either language: a car of the change-over years may speak both.
func (c *Capabilities) live(ctx context.Context, car Asker) error {
	var err error = elm.NoData
	if !silentToClassic(car) {
		err = c.bitmaps(ctx, car, obd.LiveData)
	}
	if ctx.Err() != nil || err != nil && optional(ctx, err) != nil {
		return err
	}
	if e := c.identified(ctx, car); e != nil {
		return e
	}
	if slices.ContainsFunc(c.Modules, func(m Module) bool { return m.ByID }) {
		return nil
	}
	return err
}

// askTwice asks for something that the car may do without, and once more at once where nothing came or what came was
// spoiled: one answer that did not come says nothing.
func askTwice(ctx context.Context, car Asker, req obd.Request) (elm.Answer, error) {
	answer, err := car.Do(ctx, req)
	var refused obd.NegativeResponse
	if err == nil || errors.As(err, &refused) || optional(ctx, err) != nil {
		return answer, err
	}
	return car.Do(ctx, req)
}

// optional forgives what a car may do without: no answer, a refusal, an answer that cannot be read. What it
// does not forgive is the end of the context or the loss of the link.
func optional(ctx context.Context, err error) error {
	var status *elm.Status
	var refused obd.NegativeResponse
	var malformed *obd.MalformedError
	switch {
	case err == nil || ctx.Err() != nil:
		return err
	case errors.As(err, &refused), errors.As(err, &malformed):
		return nil
	case errors.As(err, &status) && status.Remedy != elm.RemedyTellUser && status.Remedy != elm.RemedyWaitIgnition:
		return nil
	}
	return err
}

// bitmapsTold are the support bitmaps that each module told: bit n is that of the ids after 20h times n.
type bitmapsTold map[obd.Module]byte

const bitmapsOfService = 8

// bitmaps asks for the support bitmaps: on CAN six in one request, which most modules answer whole; then one after another
// those that a module says there are and did not tell. A bitmap that cannot be read is left out; only if the very first
// brings none at all is that an error.
func (c *Capabilities) bitmaps(ctx context.Context, car Asker, s obd.Service) error {
	told := bitmapsTold{}
	if c.Protocol.CAN() && s != obd.VehicleInfo {
		answer, err := car.Do(ctx, obd.NewRequest(s, 0x00, 0x20, 0x40, 0x60, 0x80, 0xA0))
		if err := optional(ctx, err); err != nil {
			return err
		}
		_ = c.takeBitmaps(s, answer.Messages, told)
	}
	for n := range bitmapsOfService {
		base := byte(n * 0x20)
		if !c.wants(s, base, told) {
			continue
		}
		answer, err := askTwice(ctx, car, obd.NewRequest(s, base))
		if err == nil {
			err = c.takeBitmaps(s, answer.Messages, told)
		}
		if base > 0 && err != nil {
			err = c.missed(ctx, s, err)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// missed notes that a later list was not told; of what is tested, that matters.
func (c *Capabilities) missed(ctx context.Context, s obd.Service, err error) error {
	var refused obd.NegativeResponse
	if s == obd.TestResults && !errors.As(err, &refused) {
		return note(ctx, &c.Unread, obd.Unread{What: obd.UnreadTests}, err)
	}
	return optional(ctx, err)
}

// wants reports whether a bitmap is worth asking for: the first while nobody has told it, another where a module says
// that it has it and has not told it.
func (c *Capabilities) wants(s obd.Service, base byte, told bitmapsTold) bool {
	if base == 0 {
		return len(told) == 0
	}
	return slices.ContainsFunc(c.Modules, func(m Module) bool {
		return m.support(s).Has(base) && told[m.Address]>>(base/0x20)&1 == 0
	})
}

// takeBitmaps notes what each module says it supports. It is an error when none of the messages can be read.
func (c *Capabilities) takeBitmaps(s obd.Service, messages []obd.Message, told bitmapsTold) (err error) {
	read := 0
	for _, m := range messages {
		if e := c.module(m.Module).support(s).Add(c.Protocol, m); e != nil {
			err = e
			continue
		}
		read++
		told[m.Module] |= bitmapsIn(c.Protocol, m)
	}
	if read > 0 {
		err = nil
	}
	return err
}

// bitmapsIn are the bitmaps that a message holds.
func bitmapsIn(p obd.Protocol, m obd.Message) (set byte) {
	if !p.CAN() {
		return 1 << (m.Data[1] / 0x20)
	}
	for rest := m.Data[1:]; len(rest) >= 5; rest = rest[5:] {
		set |= 1 << (rest[0] / 0x20)
	}
	return set
}

// module finds a module by address, or adds it in its place.
func (c *Capabilities) module(address obd.Module) *Module {
	i, found := slices.BinarySearchFunc(c.Modules, address, func(m Module, a obd.Module) int { return int(m.Address.ID) - int(a.ID) })
	if !found {
		c.Modules = slices.Insert(c.Modules, i, Module{Address: address})
	}
	return &c.Modules[i]
}

func (m *Module) support(s obd.Service) *obd.Support {
	switch s {
	case obd.TestResults:
		return &m.Tests
	case obd.VehicleInfo:
		return &m.Info
	}
	return &m.PIDs
}

// misfireMonitors asks each misfire monitor that is listed, to see which carry counts: some modules list a monitor that has
// none, and ids from AE on are cylinders only if they do. Where none is listed the first cylinders are asked for all the
// same: some modules tell no list, or leave them out of it.
func (c *Capabilities) misfireMonitors(ctx context.Context, car Asker) error {
	listed := func(mid byte) bool {
		return slices.ContainsFunc(c.Modules, func(m Module) bool { return m.Tests.Has(mid) })
	}
	any, silent := false, 0
	for mid := obd.MIDMisfire; mid <= obd.MIDLastCylinder; mid++ {
		any = any || listed(mid)
	}
	for mid := obd.MIDMisfire; mid <= obd.MIDLastCylinder && silent < silentToEnd; mid++ {
		if any && !listed(mid) {
			continue
		}
		found, err := c.askMonitor(ctx, car, mid, listed(mid))
		switch {
		case err != nil:
			return err
		case any || found:
			silent = 0
		case mid != obd.MIDMisfire:
			silent++
		}
	}
	c.between()
	if any && !listed(obd.MIDMisfire) && len(c.Monitors) > 0 { // some modules have it and do not list it
		_, err := c.askMonitor(ctx, car, obd.MIDMisfire, false)
		return err
	}
	return nil
}

// between notes the cylinders that told nothing though a higher one did: engines have no gaps.
func (c *Capabilities) between() {
	var told [obd.MIDLastCylinder + 1]bool
	highest := byte(0)
	for _, m := range c.Monitors {
		told[m.MID] = true
		if m.Counts && m.Cylinder <= mostBetween {
			highest = max(highest, m.MID)
		}
	}
	for mid := obd.MIDCylinder1; mid < highest; mid++ {
		if !told[mid] && !slices.Contains(c.UnreadMonitors(), mid) {
			c.Unread = append(c.Unread, obd.Unread{What: obd.UnreadTest, ID: mid, Why: elm.NoData.Error()})
		}
	}
}

// mostBetween is the last cylinder whose monitor is that for certain: see obd.MisfireCylinder.
const mostBetween = 12

// silentToEnd is how many cylinders in a row must tell nothing before no more are asked for where none is listed.
const silentToEnd = 2

// askMonitor asks for a misfire monitor and reports whether anything came of it. One that is listed and silent is noted.
func (c *Capabilities) askMonitor(ctx context.Context, car Asker, mid byte, listed bool) (found bool, err error) {
	ask := c.askOf(car, mid)
	if listed || len(c.Unread) > 0 {
		ask = func(ctx context.Context, req obd.Request) (elm.Answer, error) {
			if answer, err := c.askOf(car, mid)(ctx, req); err == nil || !errors.Is(err, elm.NoData) {
				return answer, err
			}
			return car.Do(ctx, req)
		}
	}
	answer, err := ask(ctx, obd.Test(mid))
	if err != nil {
		if listed {
			return false, note(ctx, &c.Unread, obd.Unread{What: obd.UnreadTest, ID: mid}, err)
		}
		return false, optional(ctx, err)
	}
	for _, m := range answer.Messages {
		found = c.addMonitor(mid, m) || found
	}
	return found, nil
}

// askOf asks for a monitor of the one module that lists it or, where several do or none does, asks all modules. Its answer is
// taken to be as long as that of the cylinder before it.
func (c *Capabilities) askOf(car Asker, mid byte) func(context.Context, obd.Request) (elm.Answer, error) {
	aimer, can := car.(Aimer)
	has := c.having(func(m *Module) bool { return m.Tests.Has(mid) })
	if !can || len(has) != 1 {
		return car.Do
	}
	return func(ctx context.Context, req obd.Request) (elm.Answer, error) {
		lines := 0
		if mid > obd.MIDCylinder1 {
			lines = c.CountLines
		}
		answer, err := aimer.DoOf(ctx, req, has[0], lines)
		if err == nil && mid >= obd.MIDCylinder1 && len(answer.Messages) == 1 {
			c.CountLines = framesOf(len(answer.Messages[0].Data))
		}
		return answer, err
	}
}

// forgive takes a monitor from what is unread: it has been read after all.
func (c *Capabilities) forgive(mid byte) {
	c.Unread = slices.DeleteFunc(c.Unread, func(u obd.Unread) bool {
		return u.What == obd.UnreadTest && u.ID == mid || u.What == obd.UnreadTests
	})
}

// addMonitor takes in what a module told of a misfire monitor, and reports whether it was one.
func (c *Capabilities) addMonitor(mid byte, m obd.Message) bool {
	results, _ := obd.DecodeTests(m) // whole records are good even where the tail is not
	if mid == obd.MIDMisfire {
		c.General = c.General || len(results) > 0
		c.takeLimits(results)
		return len(results) > 0
	}
	cylinder, ok := obd.MisfireCylinder(mid, results)
	if !ok || len(results) == 0 {
		return false
	}
	monitor := Monitor{Module: m.Module, MID: mid, Cylinder: cylinder}
	for i := range results {
		r := &results[i]
		monitor.Counts = monitor.Counts || r.MID == mid && r.TID == obd.TIDCount && r.Unit == obd.Counts
	}
	same := func(x Monitor) bool { return x.Module == monitor.Module && x.MID == mid }
	if i := slices.IndexFunc(c.Monitors, same); i >= 0 {
		c.Monitors[i].Counts = c.Monitors[i].Counts || monitor.Counts
		return true
	}
	c.Monitors = append(c.Monitors, monitor)
	return true
}

// takeLimits finds the whole-engine limits: tests of monitor A1 in percent that have an upper limit. The
// standard does not number them; the higher limit is that of the catalyst, the lower that of emissions.
func (c *Capabilities) takeLimits(results []obd.TestResult) {
	for i := range results {
		r := &results[i]
		if r.Unit != obd.Percent || !r.MaxApplies || r.NotRun || r.MaxValue <= 0 {
			continue
		}
		switch {
		case r.MaxValue > c.CatalystLimit:
			if c.CatalystLimit > 0 {
				c.EmissionLimit = c.CatalystLimit
			}
			c.CatalystLimit = r.MaxValue
		case c.EmissionLimit == 0 || r.MaxValue < c.EmissionLimit:
			c.EmissionLimit = r.MaxValue
		}
	}
}
