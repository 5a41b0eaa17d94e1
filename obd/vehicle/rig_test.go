package vehicle

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// morning is when every simulated drive begins.
var morning = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// permitted is what may be written to an adapter, in the test's own words: requests of the reading services of
// SAE J1979 (01 02 03 06 07 09 0A) of at most seven bytes with perhaps a count digit, of SAE J1979-2 up to three
// identifiers F400 to F8FF and what its codes are read with, and commands that set the adapter up or ask it about itself.
var permitted = regexp.MustCompile(`^(0(1|2|3|6|7|9|A)([0-9A-F]{2}){0,6}[0-9A-F]?` +
	`|22(F[4-8][0-9A-F]{2}){1,3}[0-9A-F]?|19(4233(04|08)1E|5533|5633[0-9A-F]{2}|04[0-9A-F]{8}|06[0-9A-F]{6}9[12])[0-9A-F]?` +
	`|AT(Z|WS|D|I|@1|FE|E0|L0|S0|H1|CAF1|AL|AT0|AT1|AT2|ST[0-9A-F]{2}|SP[0-9]|DPN|PC|RV|IGN|SH[0-9A-F]{3}|SH[0-9A-F]{6}|CRA[0-9A-F]*|AR))$`)

// spy is the link with the test's eye on it: it holds every line to permitted, keeps the lines, and notes what
// the car was like whenever bytes went or came.
type spy struct {
	elm.Link
	rig     *rig
	partial string
}

func (s *spy) Write(p []byte) (int, error) {
	s.partial += string(p)
	for {
		line, rest, whole := strings.Cut(s.partial, "\r")
		if !whole {
			break
		}
		s.partial = rest
		if !s.rig.lines[line] && !permitted.MatchString(line) {
			s.rig.t.Errorf("%q was written to the adapter", line)
		}
		s.rig.lines[line] = true
	}
	n, err := s.Link.Write(p)
	s.rig.look()
	if r := s.rig; r.asked.Len() > 0 && r.asked.Service() != obd.LiveData {
		r.shown = append(r.shown, r.sim.Car.Truth()) // the car has lived to the moment of its answer
	}
	return n, err
}

func (s *spy) Read(p []byte) (int, error) {
	n, err := s.Link.Read(p)
	s.rig.look()
	return n, err
}

// rig is a simulated car behind a dialogue, on a clock that moves as fast as the test does.
type rig struct {
	t       *testing.T
	clk     *clock.Stepped
	sim     *sim.Simulation
	adapter *elm.Adapter
	caps    *Capabilities
	lines   map[string]bool // that were written, set-up included
	notices []elm.Notice

	seen  []car.State // what the car was like during the request under way
	shown []car.Truth // likewise, when the request is for counts
	asked obd.Request // the request under way

	began  time.Time             // of the drive
	orders []order               // to the driver, in order of time
	asleep func(time.Time, bool) // hears the poller's word of sleep; may be nil

	countAt       byte      // the place of this cycle's count in a code's record
	stands        bool      // the counts of service 06 do
	inFiringOrder bool      // this car's monitors are numbered in the order its cylinders fire
	until         time.Time // when to end the drive
	end           context.CancelCauseFunc
}

var errOver = errors.New("the drive is over")

// order tells the driver what to do from a time on.
type order struct {
	at time.Time
	do car.Maneuver
}

// plug makes ready to connect to a scenario.
func plug(t *testing.T, scenario string, seed uint64) *rig {
	t.Helper()
	r := &rig{t: t, clk: clock.NewStepped(morning), lines: map[string]bool{}, inFiringOrder: strings.HasPrefix(scenario, "curlew-firing-order")}
	var err error
	r.sim, err = sim.Open(scenario, seed, r.clk)
	require.NoError(t, err)
	return r
}

func (r *rig) config() elm.Config {
	return elm.Config{
		Clock: r.clk,
		Dial: func(ctx context.Context) (elm.Link, error) {
			l, err := r.sim.Dial(ctx)
			if err != nil {
				return nil, err
			}
			return &spy{Link: l, rig: r}, nil
		},
		Notice: func(n elm.Notice) { r.notices = append(r.notices, n) },
	}
}

// connected is a rig whose car was found and asked what it supports.
func connected(t *testing.T, scenario string, seed uint64) *rig {
	t.Helper()
	r := plug(t, scenario, seed)
	var err error
	r.adapter, err = elm.Connect(t.Context(), r.config())
	require.NoError(t, err)
	t.Cleanup(func() { r.adapter.Close() })
	r.caps, err = Discover(t.Context(), r)
	require.NoError(t, err)
	return r
}

// look notes the state of the car.
func (r *rig) look() {
	r.seen = append(r.seen, r.sim.Car.State(r.clk.Now()))
}

func (r *rig) Protocol() obd.Protocol { return r.adapter.Protocol() }

// Do passes a request on, with the car watched from now until its answer is there.
func (r *rig) Do(ctx context.Context, req obd.Request) (elm.Answer, error) {
	if err := r.ready(req); err != nil {
		return elm.Answer{}, err
	}
	return r.adapter.Do(ctx, req)
}

// DoOf is Do for one module.
func (r *rig) DoOf(ctx context.Context, req obd.Request, m obd.Module, lines int) (elm.Answer, error) {
	if err := r.ready(req); err != nil {
		return elm.Answer{}, err
	}
	return r.adapter.DoOf(ctx, req, m, lines)
}

// ready makes ready for a request; the error is that the drive is over.
func (r *rig) ready(req obd.Request) error {
	if r.end != nil && !r.clk.Now().Before(r.until) {
		r.end(errOver)
		return errOver
	}
	for len(r.orders) > 0 && !r.clk.Now().Before(r.orders[0].at) {
		r.sim.Car.Do(r.clk.Now(), r.orders[0].do, 0)
		r.orders = r.orders[1:]
	}
	r.seen, r.shown, r.asked = r.seen[:0], r.shown[:0], req
	r.look()
	return nil
}

// drive polls for a while of the car's time. Each reading is held against the car as it is handed over.
func (r *rig) drive(d time.Duration, take func(*obd.Sample)) error {
	r.t.Helper()
	ctx, end := context.WithCancelCause(r.t.Context())
	defer end(nil)
	r.began = r.clk.Now()
	r.until, r.end = r.began.Add(d), end
	defer func() { r.end = nil }()
	poller := NewPoller(r, r.caps, r.clk)
	poller.Asleep = r.asleep
	return poller.Run(ctx, func(s *obd.Sample) error {
		r.check(s)
		if take != nil {
			take(s)
		}
		if r.t.Failed() {
			return errors.New("a reading was wrong")
		}
		return nil
	})
}

// check holds a sample's readings to what the car was like while it was asked.
func (r *rig) check(s *obd.Sample) {
	r.t.Helper()
	assert.False(r.t, s.Received.Before(s.Sent))
	for i := range s.Readings {
		if wrong := r.wrong(&s.Readings[i]); wrong != "" {
			r.t.Errorf("at %s, asked %v: %s", s.Received.Sub(morning), r.asked, wrong)
		}
	}
}

// wrong tells what the car never showed, or nothing.
func (r *rig) wrong(x *obd.Reading) string {
	if x.Service == obd.TestResults || x.Service == obd.CodeData {
		count := obd.TIDCount
		if x.Service == obd.CodeData {
			count = r.countAt
		}
		if x.Part != count || x.ID < obd.MIDCylinder1 || r.stands && x.Service == obd.TestResults {
			return ""
		}
		cylinder := int(x.ID-obd.MIDCylinder1) + 1
		if r.inFiringOrder {
			cylinder = r.sim.Car.Vehicle().FiringOrder[cylinder-1]
		}
		var told []uint64
		for _, t := range r.shown {
			if n := t.Shown(cylinder); float64(n) == x.Value {
				return ""
			} else {
				told = append(told, n)
			}
		}
		return fmt.Sprintf("cylinder %d counts %v, the car showed %v", cylinder, x.Value, told)
	}
	of, slack := showing(x.ID)
	if of == nil || x.Part != 0 {
		return ""
	}
	low, high := of(&r.seen[0]), of(&r.seen[0])
	for i := range r.seen {
		v := of(&r.seen[i])
		low, high = min(low, v), max(high, v)
	}
	if x.Value < low-slack || x.Value > high+slack {
		return fmt.Sprintf("PID %02X of %v reads %v, the car was between %v and %v", x.ID, x.Module, x.Value, low, high)
	}
	return ""
}

// showing is what the car's state says of a PID, and how far the PID's own steps may be off it (SAE J1979
// scaling): a quarter of a turn, 100/255 percent, a whole kilometre an hour or degree.
func showing(pid byte) (of func(*car.State) float64, slack float64) {
	switch pid {
	case obd.PIDRPM:
		return func(s *car.State) float64 { return s.RPM }, 0.26
	case obd.PIDLoad:
		return func(s *car.State) float64 { return s.Load }, 0.25
	case obd.PIDSpeed:
		return func(s *car.State) float64 { return s.Speed }, 1.01
	case obd.PIDCoolant:
		return func(s *car.State) float64 { return s.Coolant }, 1.01
	}
	return nil, 0
}
