package vehicle

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
	"stumble/obd/uds"
)

// Every simulated car of SAE J1979-2, some behind adapters that misbehave: found, read whole, and polled for a minute.
// No real car of this kind was at hand.
func TestEveryModernScenario(t *testing.T) {
	names := []string{"siskin+cheap-adapter", "heron+poor-radio", "siskin+dropping-link", "siskin-old-gearbox+slow-serial",
		"siskin+restless-adapter"}
	for _, s := range sim.Scenarios() {
		if cfg := configOf(s.Name); cfg.Controller.ByID.Speaks {
			names = append(names, s.Name)
		}
	}
	require.Greater(t, len(names), 15)
	for _, name := range names {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			cfg := configOf(name)
			by := cfg.Controller.ByID
			r := connected(t, name, 1)
			if by.Order == car.AverageFirst {
				r.countAt = 1
			}
			r.stands = by.ClassicStands
			r.checkModern(&cfg)
			if !by.Ragged && !strings.Contains(name, "cheap") {
				r.checkIntake(&cfg, false)
			}
			r.checkFull(&cfg)
			r.checkModernDrive(&cfg, name)
		})
	}
}

func (r *rig) checkModern(cfg *car.Config) {
	r.t.Helper()
	by := cfg.Controller.ByID
	assert.True(r.t, sameReading(cfg.Vehicle.Protocol, r.caps.Protocol), "%v", r.caps.Protocol)
	require.Len(r.t, r.caps.Modules, 2)
	engine, gearbox := r.caps.Modules[0], r.caps.Modules[1]
	assert.True(r.t, engine.UDS)
	assert.Equal(r.t, !by.Classic, engine.ByID)
	assert.Equal(r.t, !by.OldGearbox, gearbox.UDS)
	assert.Equal(r.t, !by.OldGearbox && !by.Classic, gearbox.ByID)
	assert.Equal(r.t, cfg.Vehicle.Cylinders(), r.caps.Cylinders())
	roads := 1
	if by.Classic {
		roads = 2
	}
	assert.Len(r.t, r.caps.Monitors, roads*cfg.Vehicle.Cylinders())
	for _, pid := range []byte{obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDStatus, obd.PIDCoolant, obd.PIDGear} {
		assert.True(r.t, r.caps.Has(pid), "PID %02X", pid)
	}
}

// checkFull holds what these cars tell beyond the older ones to their history.
func (r *rig) checkFull(cfg *car.Config) {
	r.t.Helper()
	in, err := ReadIntake(r.t.Context(), r, r.adapter, r.caps, nil)
	require.NoError(r.t, err)
	h := &cfg.History
	require.NotEmpty(r.t, in.CodeReport.Modules)
	codes := in.CodeReport.Modules[0]
	assert.Equal(r.t, h.Stored, numbers(codes.Stored))
	assert.Equal(r.t, h.Permanent, numbers(codes.Permanent))
	for _, c := range codes.Status {
		assert.Zero(r.t, c.Failure, "misfire codes have no type of failure")
	}
	engine := in.Modules[0]
	assert.True(r.t, engine.UDS)
	if by := cfg.Controller.ByID; !by.ByMonitor {
		require.GreaterOrEqual(r.t, len(engine.Checks), cfg.Vehicle.Cylinders())
		for _, c := range engine.Checks {
			assert.Equal(r.t, h.Cleared, c.Status.Has(obd.StatusNotSinceClear), "%v: the check is earned anew after a clear", c)
			assert.EqualValues(r.t, 1, c.Group, "the simulated car's group")
			if c.Code != 0x0300 {
				require.NotNil(r.t, c.Ratio)
				assert.Equal(r.t, 9, c.Ratio.Met-c.Ratio.Completed)
			}
		}
	}
	if cfg.Controller.ByID.Ragged {
		kinds := map[obd.UnreadKind]bool{}
		for _, u := range in.Unread {
			kinds[u.What] = true
			assert.Equal(r.t, "7E9", u.Module.String())
		}
		assert.Equal(r.t, map[obd.UnreadKind]bool{obd.UnreadStored: true, obd.UnreadPending: true, obd.UnreadCalibrations: true}, kinds)
	}
}

func (r *rig) checkModernDrive(cfg *car.Config, name string) {
	r.t.Helper()
	var rpm, lamp, gear int
	counts := map[byte]int{}
	began := r.clk.Now()
	last, lost := began, time.Duration(0)
	err := r.drive(time.Minute, func(s *obd.Sample) {
		for _, x := range s.Readings {
			engine := x.Module == r.caps.Modules[0].Address
			switch {
			case x.Service == obd.TestResults && x.Part == obd.TIDCount, x.Service == obd.CodeData && x.Part == r.countAt:
				counts[x.ID]++
			case x.Service == obd.LiveData && x.ID == obd.PIDRPM && engine:
				rpm++
				if since := s.Received.Sub(last); since > time.Second { // the link was away
					lost += since
				}
				last = s.Received
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
	least, counted := 8.0, 20.0 // engine speeds, and counts, a second
	switch {
	case strings.Contains(name, "cheap"):
		least, counted = 1.0, 0.7
	case strings.Contains(name, "slow-serial"):
		least, counted = 2, 3 // a record of 24 bytes takes a tenth of a second at 9600 bits a second
	case strings.Contains(name, "poor-radio"):
		least, counted = 3, 6
	}
	assert.Greater(r.t, float64(rpm)/seconds, least, "engine speeds a second")
	assert.Greater(r.t, float64(lamp)/seconds, least/20)
	assert.Greater(r.t, float64(gear)/seconds, least/12)
	for mid := range cfg.Vehicle.Cylinders() {
		assert.Greater(r.t, float64(counts[obd.MIDCylinder1+byte(mid)])/seconds, counted/float64(cfg.Vehicle.Cylinders()), "cylinder %d", mid+1)
	}
	for line := range r.lines {
		assert.NotRegexp(r.t, "^(04|14)", line)
	}
}

// A small buffer does not hold what these cars tell in one message: a freeze frame, and on 29 bits the counts of a code.
// That is told.
func TestModernBehindASmallBuffer(t *testing.T) {
	for name, want := range map[string][]obd.UnreadKind{
		"siskin+cheap-adapter": {obd.UnreadFrame}, "heron-slow-can+cheap-adapter": {obd.UnreadFrame, obd.UnreadTests},
	} {
		r := connected(t, name, 1)
		in, err := ReadIntake(t.Context(), r, r.adapter, r.caps, nil)
		require.NoError(t, err)
		var kinds []obd.UnreadKind
		for _, u := range in.Unread {
			if !slices.Contains(kinds, u.What) && u.What != obd.UnreadNames {
				kinds = append(kinds, u.What)
			}
		}
		assert.Equal(t, want, kinds, name)
	}
}

// What a request for several values is put into, and what it is split into where modules of both kinds have some of it.
func TestSpeakerParts(t *testing.T) {
	engine, gearbox := obd.Module{ID: 0x7E8, Bits: 11}, obd.Module{ID: 0x7E9, Bits: 11}
	_ = engine
	car := newScript(t, obd.CAN11At500, map[string]string{
		"22F810": "7E8=62F81001", "22F400": "7E8=62F400" + supports(0, 0x04, 0x0C, 0x0D), "010020406080A0": "7E9=4100" + supports(0, 0x0C, 0x20),
		"22F40CF40DF404": "7E8=62F40C0BB8F40D20F40480", "010C": "7E9=410C0BB8", "190603010092": "7E8=59060301002F920100240005" + "0000FFFF",
	})
	caps, err := Discover(t.Context(), car)
	require.NoError(t, err)
	require.Len(t, caps.Modules, 2)
	assert.True(t, caps.Modules[0].ByID)
	assert.False(t, caps.Modules[1].ByID)
	assert.False(t, caps.Modules[1].UDS)
	require.Equal(t, 1, caps.Cylinders())
	before := len(car.asked)
	answer, err := caps.speaking(car, false).Do(t.Context(), obd.Live(obd.PIDRPM, obd.PIDSpeed, obd.PIDLoad))
	require.NoError(t, err)
	assert.Equal(t, []string{"22F40CF40DF404"}, car.asked[before:], "polling asks the engine alone")
	assert.Equal(t, []byte{0x41, 0x0C, 0x0B, 0xB8, 0x0D, 0x20, 0x04, 0x80}, answer.Messages[0].Data)
	before = len(car.asked)
	answer, err = caps.speaking(car, true).Do(t.Context(), obd.Live(obd.PIDRPM, obd.PIDSpeed, obd.PIDLoad))
	require.NoError(t, err)
	assert.Equal(t, []string{"010C", "22F40CF40DF404"}, car.asked[before:], "an intake asks both")
	require.Len(t, answer.Messages, 2)
	assert.Equal(t, gearbox, answer.Messages[0].Module)
	assert.Equal(t, uds.Counts(1), obd.NewRequest(obd.CodeData, 0x06, 0x03, 0x01, 0x00, 0x92))
}

// A module that takes its time says so (78) and is waited for, five seconds and more (P2* of ISO 14229-2, from memory); one
// that is busy (21) is asked again. Time is the test's.
func TestModernPatience(t *testing.T) {
	r := plug(t, "siskin-alone", 1)
	var refusals []string
	cfg := r.config()
	cfg.Observe = func(e *obd.Exchange) {
		if answer := string(e.Answer); strings.Contains(answer, "7F19") {
			refusals = append(refusals, answer[strings.Index(answer, "7F19")+4:][:2])
		}
	}
	var err error
	r.adapter, err = elm.Connect(t.Context(), cfg)
	require.NoError(t, err)
	t.Cleanup(func() { r.adapter.Close() })
	began := r.clk.Now()
	answer, err := r.Do(t.Context(), uds.Counts(1))
	require.NoError(t, err)
	require.Len(t, answer.Messages, 1)
	assert.Greater(t, r.clk.Now().Sub(began), 4800*time.Millisecond)
	assert.Equal(t, []string{"21", "21", "78"}, refusals)
	readings, err := uds.AppendCounts(nil, answer.Messages[0])
	require.NoError(t, err)
	assert.Len(t, readings, 1)
}

// A list of identifiers that a module refuses for its length, or leaves unanswered, is halved, at the intake and in a drive.
func TestModernLimitIsLearnt(t *testing.T) {
	for name, most := range map[string]int{"siskin-one-at-a-time": 1, "siskin-silent-limit": 2} {
		r := connected(t, name, 1)
		r.countAt = 1
		require.ErrorIs(t, r.drive(20*time.Second, nil), errOver)
		clear(r.lines)
		require.ErrorIs(t, r.drive(20*time.Second, nil), errOver, "%s", name)
		for line := range r.lines {
			if strings.HasPrefix(line, "22F4") {
				assert.LessOrEqual(t, (len(line)-2)/4, most, line)
			}
		}
		in, err := ReadIntake(t.Context(), r, r.adapter, r.caps, nil)
		require.NoError(t, err)
		assert.Empty(t, in.Unread)
		assert.Greater(t, len(in.Live), 30)
	}
}

// A clear is sent once in each language that the car's modules need, and only by the ceremony.
func TestModernClear(t *testing.T) {
	for name, want := range map[string][]string{
		"siskin": {"14FFFF33"}, "siskin-both": {"14FFFF33"}, "siskin-old-gearbox": {"14FFFF33", "04"}, "siskin-wide": {"14FFFF33"},
		"engine-off": {"04"},
	} {
		t.Run(name, func(t *testing.T) {
			r := plug(t, name, 1)
			var cleared []string
			cfg := r.config()
			cfg.Observe = func(e *obd.Exchange) {
				if line := string(e.Request); strings.HasPrefix(line, "04") || strings.HasPrefix(line, "14") {
					cleared = append(cleared, line)
				}
			}
			r.lines["04"], r.lines["14FFFF33"] = true, true // this once
			var err error
			r.adapter, err = elm.Connect(t.Context(), cfg)
			require.NoError(t, err)
			t.Cleanup(func() { r.adapter.Close() })
			r.caps, err = Discover(t.Context(), r)
			require.NoError(t, err)
			before, err := ReadCodes(t.Context(), r, r.caps)
			require.NoError(t, err)
			require.NotEmpty(t, before.Modules[0].Stored)
			_, err = r.adapter.Permit(t.Context(), elm.Conditions{EvidenceSaved: true, Confirmed: "clear"})
			require.ErrorIs(t, err, elm.ErrNoPermission)
			leave, err := r.adapter.Permit(t.Context(), elm.Conditions{EvidenceSaved: true, Confirmed: elm.ClearWord})
			require.NoError(t, err)
			answer, err := r.adapter.Clear(t.Context(), leave)
			require.NoError(t, err)
			assert.Len(t, answer.Messages, 2, "both modules")
			_, err = r.adapter.Clear(t.Context(), leave)
			require.ErrorIs(t, err, elm.ErrNoPermission)
			assert.Equal(t, want, cleared)
			after, err := ReadCodes(t.Context(), r, r.caps)
			require.NoError(t, err)
			assert.Empty(t, after.Modules[0].Stored)
			assert.Empty(t, after.Frames)
			assert.Equal(t, before.Modules[0].Permanent, after.Modules[0].Permanent)
			if r.caps.Modules[0].UDS && name != "siskin-wide" { // the engine is started in the meantime
				in, err := ReadIntake(t.Context(), r, r.adapter, r.caps, nil)
				require.NoError(t, err)
				for _, x := range in.Tests {
					assert.True(t, x.Record == 0 || x.NotRun, "value and limits of a count are zero after a clear")
				}
			}
		})
	}
}

// With the engine running nothing is cleared, in whichever language it says that it runs.
func TestModernClearNeedsAStandingEngine(t *testing.T) {
	for _, name := range []string{"siskin", "siskin-both", "siskin-old-gearbox"} {
		r := connected(t, name, 1)
		r.clk.Advance(2 * time.Minute)
		_, err := r.adapter.Permit(t.Context(), elm.Conditions{EvidenceSaved: true, Confirmed: elm.ClearWord})
		require.ErrorIs(t, err, elm.ErrNoPermission)
		assert.Contains(t, err.Error(), "the engine runs at")
	}
}

// A car that speaks no other language is found on each of its protocols. With the ignition off it is told as ever.
func TestFoundByItsOwnQuestion(t *testing.T) {
	for _, p := range []obd.Protocol{obd.CAN11At500, obd.CAN29At500, obd.CAN11At250, obd.CAN29At250} {
		for _, quirks := range []sim.Quirks{{}, sim.CheapAdapter(), {Refuses: []string{"SP0"}}} {
			cfg := configOf("siskin")
			cfg.Vehicle.Protocol = p
			clk := clock.NewStepped(morning)
			c, err := car.New(cfg, 1, morning)
			require.NoError(t, err)
			dialer := sim.NewDialer(sim.NewAdapter(sim.Config{Bus: c, Baud: 115200, Filler: 0xAA, Quirks: quirks}), clk, sim.Drops{})
			a, err := elm.Connect(t.Context(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return dialer.Dial(ctx) }})
			require.NoError(t, err, "%v", p)
			assert.Equal(t, p, a.Protocol())
			assert.True(t, a.ByID())
			c.Do(clk.Now(), car.KeyOff, 0)
			clk.Advance(10 * time.Second)
			_, err = a.Do(t.Context(), obd.Live(obd.PIDRPM))
			require.Error(t, err)
			err = a.FindCar(t.Context())
			require.Equal(t, elm.RemedyWaitIgnition, elm.RemedyFor(err), "%v %+v: %v", p, quirks, err)
			c.Do(clk.Now(), car.KeyOn, 0)
			clk.Advance(2 * time.Second)
			require.NoError(t, a.FindCar(t.Context()), "%v %+v", p, quirks)
			assert.Equal(t, p, a.Protocol())
			require.NoError(t, a.Close())
		}
	}
}

// The examination of an adapter sees the counts of these cars, too.
func TestModernExamination(t *testing.T) {
	r := connected(t, "siskin", 1)
	e := NewExaminer()
	x, err := e.Run(t.Context(), r.adapter, r.caps, r.clk, 10*time.Second)
	require.NoError(t, err)
	assert.Equal(t, 4, x.Counters)
	assert.Equal(t, GoodForTest, x.Finding)
	assert.Less(t, x.CountEvery, time.Second)
}
