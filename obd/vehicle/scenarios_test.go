package vehicle

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

// awkward are cars behind adapters that misbehave, beside those that sim.Scenarios lists.
var awkward = []string{
	"wide+cheap-adapter", "curlew-lean-bank+cheap-adapter", "plover-injector+cheap-adapter", "wren-running+cheap-adapter",
	"wren+dropping-link", "wren+poor-radio", "rook+poor-radio", "rook-kwp+poor-radio", "wide+poor-radio", "wren+slow-serial",
	"rook-pwm+slow-serial", "wren+restless-adapter", "rook+restless-adapter", "curlew-firing-order+poor-radio",
	"wren+poor-radio+dropping-link", "wren+cheap-adapter+dropping-link", "silent-transmission+poor-radio",
}

// configOf is the car of a scenario's name; without one it is the first.
func configOf(name string) car.Config {
	all := car.Scenarios()
	for part := range strings.SplitSeq(name, "+") {
		if i := slices.IndexFunc(all, func(s car.Scenario) bool { return s.Name == part }); i >= 0 {
			return all[i].Config
		}
	}
	return all[0].Config
}

// wanting are the manners that leave something of a car unread for good: TestManners in package job tells what.
var wanting = []string{"late-counter", "wrong-echo", "sixteen-modules", "small-buffer", "half-lines", "forgetful-modules"}

// Every car behind every adapter: found, asked everything, and polled for a minute of its time. Whatever is
// told is what the car showed at that moment; whatever is written to the adapter is permitted.
func TestEveryScenario(t *testing.T) {
	var names []string
	for _, s := range sim.Scenarios() {
		names = append(names, s.Name)
	}
	for _, name := range append(names, awkward...) {
		if name == "ignition-off" {
			continue // see TestIgnitionOff
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cfg := configOf(name)
			if cfg.Controller.ByID.Speaks {
				t.Skip("see TestEveryModernScenario")
			}
			r := connected(t, name, 1)
			if !slices.Contains(wanting, name) {
				r.checkCapabilities(&cfg)
				r.checkIntake(&cfg, name == "wide+cheap-adapter")
			}
			r.checkDrive(&cfg, name)
		})
	}
}

func (r *rig) checkCapabilities(cfg *car.Config) {
	r.t.Helper()
	v := &cfg.Vehicle
	assert.True(r.t, sameReading(v.Protocol, r.caps.Protocol), "%v is read as %v", v.Protocol, r.caps.Protocol)
	modules, cylinders := 1, 0
	if v.Transmission {
		modules = 2
	}
	if v.Protocol.CAN() {
		cylinders = v.Cylinders()
	}
	assert.Len(r.t, r.caps.Modules, modules)
	assert.Equal(r.t, cylinders, r.caps.Cylinders())
	assert.Equal(r.t, v.Protocol.CAN(), r.caps.General)
	for _, pid := range []byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDStatus, obd.PIDCoolant} {
		assert.True(r.t, r.caps.Has(pid), "PID %02X", pid)
	}
	assert.Equal(r.t, v.Protocol.CAN() && !cfg.Controller.WithholdGear, r.caps.Has(obd.PIDGear))
	if modules == 2 {
		assert.True(r.t, r.caps.Modules[1].PIDs.Has(obd.PIDRPM), "the gearbox tells engine speed too")
		assert.False(r.t, r.caps.Modules[1].PIDs.Has(obd.PIDLoad))
	}
	if cfg.Controller.Percent && !cfg.History.Cleared {
		assert.InDelta(r.t, 1, r.caps.EmissionLimit, 0.01, "13 CCR 1968.2 (e)(3.2.2)(A)")
		assert.Greater(r.t, r.caps.CatalystLimit, 5.0)
	} else {
		assert.Zero(r.t, r.caps.CatalystLimit)
	}
}

// sameReading reports whether answers of two protocols read alike: an adapter that does not know what it found
// leaves the speed of a CAN bus open.
func sameReading(a, b obd.Protocol) bool {
	return a == b || a.CAN() && b.CAN() && a.Wide() == b.Wide()
}

// checkIntake holds an intake to the car's history. Four frames with 29-bit identifiers, as a module's name takes,
// are more than the cheap adapter's buffer holds, even of one module alone.
func (r *rig) checkIntake(cfg *car.Config, nameless bool) {
	r.t.Helper()
	in, err := ReadIntake(r.t.Context(), r, r.adapter, r.caps, nil)
	require.NoError(r.t, err)
	h, can := &cfg.History, cfg.Vehicle.Protocol.CAN()
	if nameless {
		assert.Equal(r.t, []obd.Unread{{What: obd.UnreadNames, Why: "the answer arrived garbled"}}, in.Unread)
	} else {
		assert.Empty(r.t, in.Unread)
	}
	assert.Equal(r.t, cfg.Vehicle.VIN, in.VIN)
	assert.True(r.t, in.VINCheck)
	assert.InDelta(r.t, 12.6, in.Voltage, 2.6)
	require.NotEmpty(r.t, in.CodeReport.Modules)
	codes := in.CodeReport.Modules[0]
	assert.Equal(r.t, h.Stored, numbers(codes.Stored))
	assert.Equal(r.t, h.Pending, numbers(codes.Pending))
	if can {
		assert.Equal(r.t, h.Permanent, numbers(codes.Permanent))
	}
	require.Len(r.t, in.Modules, len(r.caps.Modules))
	engine := in.Modules[0]
	assert.Equal(r.t, []string{cfg.Vehicle.Calibration}, engine.Calibrations)
	assert.Equal(r.t, []obd.CVN{obd.CVN(cfg.Vehicle.Verification)}, engine.CVNs)
	require.NotNil(r.t, engine.Monitors)
	assert.Equal(r.t, len(h.Stored) > 0, engine.Monitors.MIL)
	assert.Equal(r.t, len(h.Stored), engine.Monitors.Codes)
	assert.Equal(r.t, can, engine.ThisCycle != nil)
	assert.Equal(r.t, can, len(in.Tests) > 0)
	assert.Equal(r.t, can, len(in.Legacy) == 0)
	r.checkFrame(cfg, in)
	live := map[byte]bool{}
	for _, x := range in.Live {
		live[x.ID] = true
	}
	for _, pid := range values(r.caps) {
		if pid != obd.PIDFreezeCode {
			assert.True(r.t, live[pid], "PID %02X has no value", pid)
		}
	}
}

func (r *rig) checkFrame(cfg *car.Config, in *obd.Intake) {
	r.t.Helper()
	f := cfg.History.Frame
	if f == nil {
		assert.Empty(r.t, in.Frames)
		return
	}
	require.Len(r.t, in.Frames, 1)
	frame := in.Frames[0]
	assert.Equal(r.t, r.caps.Modules[0].Address, frame.Module)
	assert.EqualValues(r.t, append(slices.Clone(cfg.History.Stored), cfg.History.Pending...)[0], frame.Code)
	have := map[byte]float64{}
	for _, x := range frame.Readings {
		if x.Part == 0 {
			have[x.ID] = x.Value
		}
	}
	assert.InDelta(r.t, f.RPM, have[obd.PIDRPM], 0.26)
	assert.InDelta(r.t, f.Load, have[obd.PIDLoad], 0.25)
	assert.InDelta(r.t, f.Coolant, have[obd.PIDCoolant], 0.51)
	assert.InDelta(r.t, f.Speed, have[obd.PIDSpeed], 1.01)
}

func numbers(codes []obd.Code) (out []uint16) {
	for _, c := range codes {
		out = append(out, uint16(c))
	}
	return out
}

// checkDrive polls. Each reading is held to the car in rig.check; here that enough of them come.
func (r *rig) checkDrive(cfg *car.Config, name string) {
	r.t.Helper()
	const length = time.Minute
	var rpm, load, lamp, gear int
	counts := map[byte]int{}
	var last, latest time.Time
	var gap, lost time.Duration
	began := r.clk.Now()
	last = began
	err := r.drive(length, func(s *obd.Sample) {
		assert.False(r.t, s.Sent.Before(latest), "time runs forward")
		latest = s.Received
		for i := range s.Readings {
			x := &s.Readings[i]
			engine := x.Module == r.caps.Modules[0].Address
			switch {
			case x.Service == obd.TestResults && x.Part == obd.TIDCount:
				counts[x.ID]++
			case x.Service == obd.LiveData && x.ID == obd.PIDRPM && engine:
				rpm++
				since := s.Received.Sub(last)
				gap, last = max(gap, since), s.Received
				if since > time.Second { // the link was away
					lost += since
				}
			case x.Service == obd.LiveData && x.ID == obd.PIDLoad && engine:
				load++
			case x.Service == obd.LiveData && x.ID == obd.PIDStatus && engine && x.Part == obd.PartMIL:
				lamp++
			case x.Service == obd.LiveData && x.ID == obd.PIDGear && x.Part == obd.PartGearNumber:
				gear++
			}
		}
	})
	require.ErrorIs(r.t, err, errOver)
	seconds := r.clk.Now().Sub(began).Seconds()
	if len(r.notices) > 0 {
		seconds -= lost.Seconds()
	}
	least, counted := 9.3, 33.0 // engine speeds, and counts, a second
	switch {
	case strings.Contains(name, "cheap") && strings.Contains(name, "dropping"):
		least, counted = 1.1, 0.5
	case strings.Contains(name, "late-counter"), strings.Contains(name, "forgetful"):
		counted = 28
	case name == "wren+dropping-link", name == "dropping-link": // each time it is back it is set up anew
		least, counted = 9, 30
	case strings.Contains(name, "small-buffer"):
		least = 4
	case strings.Contains(name, "cheap"):
		least, counted = 1.6, 1
	case strings.Contains(name, "slow-modules"):
		least, counted = 1.4, 0.5
	case strings.Contains(name, "slow-refusal"), strings.Contains(name, "digit-fails"):
		least, counted = 3, 8
	case strings.Contains(name, "doubling"), strings.Contains(name, "noisy"), strings.Contains(name, "half-lines"), strings.Contains(name, "small-buffer"):
		least, counted = 7, 15
	case strings.Contains(name, "slow-serial"):
		least, counted = 2.5, 7
	case strings.Contains(name, "poor-radio") && cfg.Vehicle.Protocol.CAN():
		least, counted = 4.5, 8
	case cfg.Vehicle.Protocol == obd.ISO9141 || cfg.Vehicle.Protocol.KWP():
		least = 3.5
	case !cfg.Vehicle.Protocol.CAN():
		least = 12
	}
	assert.Greater(r.t, float64(rpm)/seconds, least, "engine speeds a second")
	assert.Greater(r.t, float64(load)/seconds, least/8)
	assert.Greater(r.t, float64(lamp)/seconds, least/20)
	for _, m := range r.caps.Monitors {
		assert.Greater(r.t, float64(counts[m.MID])/seconds, counted/float64(len(r.caps.Monitors)), "cylinder %d", m.Cylinder)
	}
	if both := strings.Contains(name, "cheap") && strings.Contains(name, "dropping"); r.caps.Has(obd.PIDGear) && cfg.Controller.SilentAfter == 0 && !both {
		assert.Greater(r.t, float64(gear)/seconds, least/12)
	}
	most := 2 * time.Second
	if strings.Contains(name, "slow-modules") {
		most = 3 * time.Second
	}
	if strings.Contains(name, "dropping-link") {
		most = 8 * time.Second
		assert.NotEmpty(r.t, r.notices)
	} else {
		assert.Empty(r.t, r.notices)
	}
	switch {
	case strings.Contains(name, "cheap"):
		most += time.Second
	case strings.Contains(name, "rook+restless"):
		most += 4 * time.Second // a K-line is woken anew
	}
	assert.Less(r.t, gap, most, "the longest time without engine speed")
	r.checkCounts(cfg)
}

// checkCounts asks each counter once more: it is what the car shows.
func (r *rig) checkCounts(cfg *car.Config) {
	r.t.Helper()
	for _, m := range r.caps.Monitors {
		answer, err := r.Do(r.t.Context(), obd.Test(m.MID))
		require.NoError(r.t, err)
		readings, err := obd.AppendCounts(nil, answer.Messages[0])
		require.NoError(r.t, err)
		i := slices.IndexFunc(readings, func(x obd.Reading) bool { return x.Part == obd.TIDCount })
		require.GreaterOrEqual(r.t, i, 0)
		assert.Empty(r.t, r.wrong(&readings[i]))
	}
}

// More seeds of what goes by chance: no reading may ever differ from what the car showed, however many bytes are
// lost, swallowed or made up on the way.
func TestNoReadingIsEverWrong(t *testing.T) {
	seeds := uint64(3)
	if testing.Short() {
		seeds = 1
	}
	for _, name := range []string{"wren-running+cheap-adapter", "wren-running+poor-radio", "wide+cheap-adapter", "rook-vpw+poor-radio", "rook+poor-radio"} {
		for seed := range seeds {
			t.Run(fmt.Sprint(name, " ", seed+2), func(t *testing.T) {
				t.Parallel()
				r := connected(t, name, seed+2)
				require.ErrorIs(t, r.drive(3*time.Minute, nil), errOver)
			})
		}
	}
}

// The same car, seed and dialogue give the same samples, to the last nanosecond and bit.
func TestSameSeedSameSamples(t *testing.T) {
	run := func(name string, seed uint64) []string {
		r := connected(t, name, seed)
		var out []string
		require.ErrorIs(t, r.drive(20*time.Second, func(s *obd.Sample) {
			out = append(out, fmt.Sprint(s.Sent.UnixNano(), s.Received.UnixNano(), s.Readings))
		}), errOver)
		return out
	}
	for _, name := range []string{"wren-running", "wren+cheap-adapter", "wren+poor-radio+dropping-link", "rook"} {
		assert.Equal(t, run(name, 7), run(name, 7), name)
	}
	assert.NotEqual(t, run("wren-running", 7), run("wren-running", 8))
}

func TestIgnitionOff(t *testing.T) {
	for name, want := range map[string]*elm.Status{
		"ignition-off": elm.NoVehicle,
		// An adapter without the hardware for this car's bus finds as little.
		"rook+cheap-adapter": elm.NoVehicle, "rook-vpw+cheap-adapter": elm.NoVehicle,
	} {
		r := plug(t, name, 1)
		a, err := elm.Connect(t.Context(), r.config())
		require.ErrorIs(t, err, want, name)
		require.NotNil(t, a, "the adapter itself is there")
		r.adapter = a
		assert.Equal(t, elm.RemedyWaitIgnition, elm.RemedyFor(err))
		assert.NotEmpty(t, want.Hint)
		assert.NotContains(t, err.Error(), "\n")
		if name == "ignition-off" { // turned on at last
			require.ErrorIs(t, a.FindCar(t.Context()), want)
			r.sim.Car.Do(r.clk.Now(), car.KeyOn, 0)
			require.NoError(t, a.FindCar(t.Context()))
			r.caps, err = Discover(t.Context(), r)
			require.NoError(t, err)
			assert.Equal(t, 4, r.caps.Cylinders())
		}
		require.NoError(t, a.Close())
	}
}

// The ignition is turned off in the middle of a drive and on again a minute later, on CAN and on a K-line that has
// to be woken anew.
func TestIgnitionTurnedOff(t *testing.T) {
	for _, name := range []string{"wren-running", "rook", "wren-running+cheap-adapter", "rook-vpw"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			r := connected(t, name, 1)
			began := r.clk.Now()
			r.sim.Car.Do(began, car.ParkIdle, 20*time.Second)
			r.orders = []order{{began.Add(20 * time.Second), car.KeyOff}, {began.Add(80 * time.Second), car.Start}, {began.Add(90 * time.Second), car.ParkIdle}}
			var told []string
			r.asleep = func(at time.Time, asleep bool) {
				told = append(told, fmt.Sprint(asleep))
				since := at.Sub(began).Seconds()
				if asleep {
					assert.InDelta(t, 25, since, 5)
				} else {
					assert.InDelta(t, 85, since, 5)
				}
			}
			var after int
			require.ErrorIs(t, r.drive(150*time.Second, func(s *obd.Sample) {
				if s.Received.Sub(began) > 110*time.Second {
					after++
				}
			}), errOver)
			assert.Equal(t, []string{"true", "false"}, told)
			assert.Greater(t, after, 60, "the drive goes on")
			assert.Empty(t, r.notices, "the adapter was there all the time")
		})
	}
}

// The connection drops: told, sought, found, and the drive goes on with nothing but a gap in time.
func TestDroppingLink(t *testing.T) {
	r := connected(t, "wren-running+dropping-link", 3)
	var gaps int
	var last time.Time
	require.ErrorIs(t, r.drive(5*time.Minute, func(s *obd.Sample) {
		if !last.IsZero() && s.Received.Sub(last) > 2*time.Second {
			gaps++
		}
		last = s.Received
	}), errOver)
	var lost, back int
	for i, n := range r.notices {
		switch n.Kind {
		case elm.LinkLost:
			lost++
			require.Error(t, n.Err)
		case elm.LinkBack:
			back++
			assert.Equal(t, elm.LinkRetry, r.notices[i-1].Kind, "it is away for two seconds")
		}
	}
	assert.Equal(t, lost, back)
	assert.Equal(t, lost, gaps)
	assert.Greater(t, lost, 4)
}

// Key on, engine never started: no speed, and counters that still show the last driving cycle.
func TestEngineOff(t *testing.T) {
	r := connected(t, "engine-off", 1)
	history := configOf("engine-off").History.Last
	counts := map[byte]float64{}
	require.ErrorIs(t, r.drive(30*time.Second, func(s *obd.Sample) {
		for _, x := range s.Readings {
			switch {
			case x.Service == obd.TestResults && x.Part == obd.TIDCount:
				counts[x.ID] = x.Value
			case x.ID == obd.PIDRPM || x.ID == obd.PIDSpeed:
				assert.Zero(t, x.Value)
			}
		}
	}), errOver)
	for i, n := range history {
		assert.EqualValues(t, n, counts[obd.MIDCylinder1+byte(i)], "cylinder %d", i+1)
	}
}

// The transmission module falls silent after 90 seconds. What it told is asked less and less; the pace of the rest stays.
func TestSilentTransmission(t *testing.T) {
	r := connected(t, "silent-transmission", 1)
	var before, after, gears, ratios int
	require.ErrorIs(t, r.drive(3*time.Minute, func(s *obd.Sample) {
		silent := s.Sent.Sub(morning) > 92*time.Second
		for _, x := range s.Readings {
			switch {
			case silent && x.Module == r.caps.Modules[1].Address:
				t.Errorf("%v is told though its module is silent", x)
			case x.ID == obd.PIDRPM && x.Module == r.caps.Modules[0].Address && silent:
				after++
			case x.ID == obd.PIDRPM && x.Module == r.caps.Modules[0].Address:
				before++
			case x.ID == obd.PIDAuxiliary && silent:
				gears++
			case x.ID == obd.PIDGear:
				ratios++
			}
		}
	}), errOver)
	first := 92*time.Second - r.began.Sub(morning)
	second := 3*time.Minute - first
	paceBefore, paceAfter := float64(before)/first.Seconds(), float64(after)/second.Seconds()
	assert.InEpsilon(t, paceBefore, paceAfter, 0.02, "the engine's module is asked alone: who else falls silent makes no difference")
	assert.Greater(t, gears, 100, "the engine module's word on the gear still comes")
	assert.Greater(t, ratios, 100)
}

// A counter at its end stays there, and is told as it is.
func TestSaturated(t *testing.T) {
	r := connected(t, "saturated", 1)
	last := 0.0
	require.ErrorIs(t, r.drive(3*time.Minute, func(s *obd.Sample) {
		for _, x := range s.Readings {
			if x.Service == obd.TestResults && x.ID == obd.MIDCylinder1+3 && x.Part == obd.TIDCount {
				assert.GreaterOrEqual(t, x.Value, last, "it never goes round")
				last = x.Value
			}
		}
	}), errOver)
	assert.EqualValues(t, math.MaxUint16, last)
}

// A controller that shuts the fuel of a dead cylinder off says so with a code (P0363), and its counter stands still.
func TestFuelShutoff(t *testing.T) {
	r := connected(t, "fuel-shutoff", 1)
	var counts []float64
	require.ErrorIs(t, r.drive(4*time.Minute, func(s *obd.Sample) {
		for _, x := range s.Readings {
			if x.Service == obd.TestResults && x.ID == obd.MIDCylinder1+3 && x.Part == obd.TIDCount {
				counts = append(counts, x.Value)
			}
		}
	}), errOver)
	report, err := ReadCodes(t.Context(), r, r.caps)
	require.NoError(t, err)
	all := append(slices.Clone(report.Modules[0].Stored), report.Modules[0].Pending...)
	assert.Contains(t, codeTexts(all), "P0363")
	assert.Greater(t, slices.Max(counts), 50.0)
	assert.Equal(t, counts[len(counts)-1], counts[len(counts)*3/4])
}
