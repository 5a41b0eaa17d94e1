package job

import (
	"context"
	"errors"
	"fmt"
	"time"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/vehicle"
)

// Car is a connected car. It is the Source of a live drive.
type Car struct {
	Adapter *elm.Adapter
	Caps    *vehicle.Capabilities

	cfg       elm.Config
	memory    *Memory          // may be nil
	id        vehicle.Identity // of the car that the drive began with
	met       bool             // it was asked who it is just now
	doubted   bool             // the link or the car was away: another may be there
	asked     time.Time        // who it is, last
	until     time.Time        // when the drive ends; zero: with its context
	counters  string           // the user's own table, by which it is counted; empty: none
	worked    bool             // that told something
	saver     *Saver           // keeps that with the vehicle; may be nil
	exchanges int
	uncounted []time.Time // when exchanges ended that are not counted yet
	asking    bool        // the car who it is, between a sample and its being counted
	traffic   traffic
	lost      bool
	noticed   func(elm.Notice)    // nil while no drive is counted
	record    func(*obd.Exchange) // hears every exchange; may be nil
}

// Waiting is how a car is waited for whose ignition is off, and an adapter sought that goes away.
type Waiting struct {
	Told  func(Notice)  // hears that it is waited for
	Until time.Time     // zero: until the context ends
	Seek  time.Duration // how long either is waited for; zero: for good
}

const (
	wakeEvery = 2 * time.Second  // between attempts to find a car whose ignition is off
	patience  = 20 * time.Second // how long a one-time reading seeks a lost adapter
)

// NoAdapterError says that no adapter was met.
type NoAdapterError struct{ error }

// Unwrap returns why.
func (e NoAdapterError) Unwrap() error { return e.error }

// Connect reaches the adapter that cfg dials, and the car. With w a car that does not answer is waited for; without,
// that is the error, and an adapter that goes away is not sought for long. What m, which may be nil, remembers is tried
// first. The error is a NoAdapterError where there was none.
func Connect(ctx context.Context, cfg elm.Config, w *Waiting, m *Memory) (*Car, error) {
	c := &Car{memory: m}
	if m != nil && cfg.Protocol == obd.ProtocolUnknown {
		cfg.Protocol = m.Adapter(m.Place()).Protocol
	}
	cfg.Observe, cfg.Notice = c.observe, c.notice
	if w == nil {
		cfg.Patience = patience
	} else {
		cfg.Patience = w.Seek
		if w.Seek > 0 && (w.Until.IsZero() || cfg.Clock.Now().Add(w.Seek).Before(w.Until)) {
			w.Until = cfg.Clock.Now().Add(w.Seek)
		}
	}
	c.cfg = cfg
	adapter, err := elm.Connect(ctx, cfg)
	if adapter == nil {
		return nil, NoAdapterError{err}
	}
	c.Adapter = adapter
	if err != nil && w != nil {
		err = c.await(ctx, err, w)
	}
	if err == nil {
		err = c.discover(ctx)
	}
	if err != nil {
		adapter.Close()
		return nil, err
	}
	return c, nil
}

// discover finds out what the car supports: by asking who it is where that is remembered of some car, else by asking all.
func (c *Car) discover(ctx context.Context) (err error) {
	if c.memory != nil {
		blank := vehicle.Capabilities{Protocol: c.Adapter.Protocol()}
		if c.id.VIN, _, err = vehicle.ReadVIN(ctx, c.Adapter, &blank); err != nil {
			return err
		}
		c.met = c.id.VIN != ""
		if known := c.memory.Car(c.id.VIN); known != nil && known.Protocol == c.Adapter.Protocol() {
			c.Caps = known
		}
	}
	if c.Caps == nil {
		c.Caps, err = vehicle.Discover(ctx, c.Adapter)
	}
	if err == nil {
		c.memory.SaveAdapter(func(k *KnownAdapter) {
			k.Identity, k.Protocol = c.Adapter.Identity(), c.Adapter.Protocol()
			if c.met {
				k.VIN = c.id.VIN
			}
		})
	}
	return err
}

// await asks for the car again and again until its ignition is on.
func (c *Car) await(ctx context.Context, why error, w *Waiting) error {
	if w.Told != nil {
		w.Told(Notice{Kind: CarWaited, Err: why})
	}
	for {
		if !c.cfg.Clock.SleepUntil(c.Now().Add(wakeEvery), ctx.Done()) {
			return context.Cause(ctx)
		}
		err := c.Adapter.FindCar(ctx)
		if err == nil || elm.RemedyFor(err) != elm.RemedyWaitIgnition {
			return err
		}
		if !w.Until.IsZero() && !c.Now().Before(w.Until) {
			return err
		}
	}
}

// Close hangs up.
func (c *Car) Close() { c.Adapter.Close() }

// Now returns the time by the clock of the dialogue. It may be called from any goroutine.
func (c *Car) Now() time.Time { return c.cfg.Clock.Now() }

func (c *Car) observe(e *obd.Exchange) {
	if c.uncounted = append(c.uncounted, e.Received); !c.asking {
		c.count()
	}
	if c.record != nil {
		c.record(e)
	}
}

// count counts the exchanges so far. Those of a question between a sample and its being counted are counted after it, as
// they are when the drive is played back.
func (c *Car) count() {
	for _, at := range c.uncounted {
		c.exchanges++
		c.traffic.add(at)
	}
	c.uncounted = c.uncounted[:0]
}

func (c *Car) notice(n elm.Notice) {
	c.lost = n.Kind != elm.LinkBack
	if c.noticed != nil {
		c.noticed(n)
	}
}

// Health returns how the adapter is doing.
func (c *Car) Health() Health {
	return Health{
		Adapter: c.Adapter.Identity(), Protocol: c.Adapter.Protocol().String(),
		Exchanges: c.exchanges, PerSecond: c.traffic.perSecond(), Lost: c.lost,
	}
}

// Drive makes ready to count a drive of the car. known is what is known of the car beside what it tells; its VIN is
// read. Where cfg names no engine it is that of earlier drives, as far as s knows them and the car does not
// contradict it, or has as many cylinders as the car counts. told, which may be nil, hears which. The error may be a
// MisfitError.
func (c *Car) Drive(ctx context.Context, known Setup, cfg misfire.Config, s *Saver, told func(Notice)) (*Drive, error) {
	if !c.met {
		id, err := vehicle.ReadIdentity(ctx, c.Adapter, c.Caps)
		if err != nil {
			return nil, err
		}
		c.id = id
	}
	vin := c.id.VIN
	c.met, c.doubted = false, false
	c.tellUnread(told)
	c.saver = s
	c.recallCounters(told)
	if cfg.Engine.Cylinders == 0 && cfg.Map.Len() == 0 {
		engine, notice := s.KnownEngine(vin, cfg, c.Caps.Cylinders())
		if cfg = engine; notice != nil && told != nil {
			told(*notice)
		}
	}
	if cfg.Gearbox == gear.NotTold {
		cfg.Gearbox = s.KnownGearbox(vin)
	}
	if err := FitEngine(&cfg, c.Caps.Cylinders()); err != nil {
		return nil, err
	}
	known.VIN, known.Unread, known.Counters = vin, len(c.Caps.UnreadMonitors()), c.counters
	cfg.Wraps = c.Caps.Counters.Wraps()
	d := newDrive(c, known, cfg, c.Caps.CatalystLimit, c.Caps.EmissionLimit)
	c.countAnew()
	return d, nil
}

// countAnew counts exchanges from here: those of the drive, as they are when it is played back.
func (c *Car) countAnew() { c.exchanges, c.traffic = 0, traffic{} }

// tellUnread tells what the car was silent about, and which modules are left out.
func (c *Car) tellUnread(told func(Notice)) {
	if told == nil {
		return
	}
	if monitors := c.Caps.UnreadMonitors(); len(monitors) > 0 {
		told(Notice{Kind: MonitorsUnread, Monitors: monitors})
	}
	if strangers := c.Adapter.Strangers(); len(strangers) > 0 {
		told(Notice{Kind: ModulesStrange, Modules: strangers})
	}
}

// OtherCarError says that the adapter is in another car than the one that the drive began with.
type OtherCarError struct{ Was, Is vehicle.Identity }

func (e *OtherCarError) Error() string {
	return fmt.Sprintf("the adapter is in another car now (%s, before it was %s)", e.Is.String(), e.Was.String())
}

// askedAgain is how long a car that does not tell who it is is left alone with that question.
const askedAgain = 5 * time.Second

// sameCar asks the car who it is after the link or the car was away. Until it tells, it is taken for the same.
func (c *Car) sameCar(ctx context.Context) error {
	if !c.doubted || !c.id.Known() || c.Now().Sub(c.asked) < askedAgain && !c.asked.IsZero() {
		return nil
	}
	c.asked, c.asking = c.Now(), true
	defer func() { c.asking = false }()
	caps := vehicle.Capabilities{Protocol: c.Adapter.Protocol(), Modules: c.Caps.Modules}
	now, err := vehicle.ReadIdentity(ctx, c.Adapter, &caps)
	switch {
	case err != nil:
		return nil // the poll meets the trouble, too, and knows what to do
	case now.Other(&c.id):
		return &OtherCarError{Was: c.id, Is: now}
	case now.Known():
		c.doubted, c.asked = false, time.Time{}
	}
	return nil
}

// EndAt has the drive end at a time, whatever has become of the link until then.
func (c *Car) EndAt(t time.Time) { c.until = t }

// Events polls the car: samples, and what becomes of the link and the car. It ends when ctx does, or take fails, or the
// adapter cannot be helped without a person.
func (c *Car) Events(ctx context.Context, take func(Event) error) error {
	defer func() { c.memory.SaveCar(c.id.VIN, c.Caps) }()
	var failed error
	tell := func(n Notice) { failed = errors.Join(failed, take(Event{Notice: &n})) }
	c.noticed = func(n elm.Notice) {
		switch n.Kind {
		case elm.LinkLost:
			tell(Notice{Kind: LinkLost, At: n.At, Err: n.Err})
		case elm.LinkBack:
			c.doubted = true
			tell(Notice{Kind: LinkBack, At: n.At})
		}
	}
	defer func() { c.noticed = nil }()
	poller := vehicle.NewPoller(c.Adapter, c.Caps, c.cfg.Clock)
	poller.Asleep = func(at time.Time, asleep bool) {
		kind := CarAwake
		if asleep {
			kind = CarAsleep
		}
		c.doubted = true
		tell(Notice{Kind: kind, At: at})
	}
	poller.Until, poller.Over = c.until, ErrTimeUp
	poller.Before = func(ctx context.Context) error {
		if c.Adapter.Protocol() == c.Caps.Protocol {
			return nil
		}
		c.doubted = true // it may not understand a single request of this drive
		return c.sameCar(ctx)
	}
	return poller.Run(ctx, func(s *obd.Sample) error {
		if err := c.sameCar(ctx); err != nil {
			return err
		}
		if failed != nil {
			return failed
		}
		c.counted(s)
		err := take(Event{Sample: s})
		c.count()
		return err
	})
}
