package proof_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
	"stumble/obd/vehicle"
)

var errOver = errors.New("the drive is over")

// driven is one simulated drive: its summary, its codes and its cycles.
type driven struct {
	summary *misfire.Summary
	codes   *obd.CodeReport
	cycles  proof.Progress
}

// drive polls a simulated car for a time, through adapter, dialogue and tally. A helper marks the gear a second
// after the lever was moved, as on the road.
func drive(t testing.TB, scenario string, seed uint64, length time.Duration) driven {
	t.Helper()
	clk := clock.NewStepped(time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC))
	s, err := sim.Open(scenario, seed, clk)
	require.NoError(t, err)
	a, err := elm.Connect(context.Background(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return s.Dial(ctx) }})
	require.NoError(t, err)
	defer a.Close()
	caps, err := vehicle.Discover(context.Background(), a)
	require.NoError(t, err)
	var out driven
	out.codes, err = vehicle.ReadCodes(context.Background(), a, caps)
	require.NoError(t, err)
	layout, err := engine.Plain(caps.Cylinders())
	require.NoError(t, err)
	tally := misfire.NewTally(misfire.Config{Engine: layout})
	cycles := proof.NewCycles(proof.CycleConfig{Cylinders: layout.Cylinders})
	end := clk.Now().Add(length)
	var lever gear.State
	var since time.Time
	err = vehicle.NewPoller(a, caps, clk).Run(context.Background(), func(sample *obd.Sample) error {
		if now := inGear(s.Car.State(sample.Received).Gear); now != lever {
			lever, since = now, sample.Received
		}
		if !since.IsZero() && sample.Received.Sub(since) >= time.Second {
			tally.Mark(sample.Received, lever)
			since = time.Time{}
		}
		tally.Add(sample)
		cycles.Add(sample)
		if !sample.Received.Before(end) {
			return errOver
		}
		return nil
	})
	require.ErrorIs(t, err, errOver)
	tally.Finish()
	out.summary, out.cycles = tally.Summary(), cycles.Progress()
	return out
}

func inGear(g car.GearState) gear.State {
	return [...]gear.State{car.ParkNeutral: gear.ParkNeutral, car.DriveAtRest: gear.Drive, car.Reverse: gear.Reverse, car.Moving: gear.Moving}[g]
}

func (d driven) side() proof.Side {
	return proof.Side{VIN: "L4KWREN16", Drives: []*misfire.Summary{d.summary}, Codes: d.codes, Cycles: &d.cycles}
}

// What each simulated car comes to after an hour before and so long after. The simulated car
// knows what was done to it; wren-two-faults has a new fault beside the old one.
func TestSimulatedRepairs(t *testing.T) {
	simulation(t)
	befores := map[uint64]driven{}
	for _, c := range []struct {
		after   string
		minutes time.Duration
		want    []proof.Outcome // any of them is true to what was done
	}{
		{"wren-repaired", 5, []proof.Outcome{proof.NotYet}},
		{"wren-wrong-wire", 20, []proof.Outcome{proof.StillMissing}},
		{"wren-improved", 60, []proof.Outcome{proof.Improved, proof.StillMissing}},
		{"wren-swapped", 20, []proof.Outcome{proof.Moved}},
		{"wren-two-faults", 20, []proof.Outcome{proof.StillMissing}},
	} {
		t.Run(c.after, func(t *testing.T) {
			for seed := range uint64(max(1, *seeds/24)) {
				before, ok := befores[seed]
				if !ok {
					before = drive(t, "wren", 2*seed+1, time.Hour)
					befores[seed] = before
				}
				after := drive(t, c.after, 2*seed+2, c.minutes*time.Minute)
				got, err := proof.Compare(proof.Input{Before: before.side(), After: after.side()})
				require.NoError(t, err)
				require.Contains(t, c.want, got.Outcome, "seed %d", seed)
				require.Equal(t, 2, got.Cylinders[0].Cylinder)
				if got.Outcome == proof.NotYet {
					require.NotEmpty(t, got.Needed)
					require.Positive(t, got.Needed[0].Minutes)
				}
				if c.after == "wren-repaired" {
					require.Len(t, got.Frames, 1)
					require.True(t, got.Frames[0].Covered)
					require.Equal(t, obd.Code(0x0302), got.Codes.Stored.Gone[0])
					require.Equal(t, obd.Code(0x0302), got.Codes.Permanent.Kept[0])
				}
			}
		})
	}
}

// A repaired car is proven in the end, in every gear it failed in, and is never called anything worse on the
// way. Healthy engines miss now and then, which moves the mark: how long it takes differs.
func TestRepairedCarIsProven(t *testing.T) {
	simulation(t)
	for seed := range uint64(max(1, *seeds/24)) {
		before := drive(t, "wren", 2*seed+1, time.Hour).side()
		after := proof.Side{}
		for leg := range uint64(6) {
			after.Drives = append(after.Drives, drive(t, "wren-repaired", 100*seed+leg+2, 90*time.Minute).summary)
			got, err := proof.Compare(proof.Input{Before: before, After: after})
			require.NoError(t, err)
			require.Contains(t, []proof.Outcome{proof.NotYet, proof.Proven}, got.Outcome)
			if got.Outcome == proof.Proven {
				t.Log(leg+1, got.Outcome, got.Needed)
				break
			}
			require.Less(t, leg, uint64(5))
		}
	}
}

// The minutes said to be missing are enough: once they have been driven clean the repair is proven.
func TestMissingMinutesAreEnough(t *testing.T) {
	before := drive(t, "wren", 1, 20*time.Minute)
	after := drive(t, "wren-repaired", 2, 5*time.Minute)
	in := proof.Input{Before: before.side(), After: after.side()}
	first, err := proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.NotYet, first.Outcome)
	more := summary(t)
	for _, c := range first.Cylinders[0].Conditions {
		if c.Failing {
			more.Cells = append(more.Cells, spell{cylinder: 2, gear: c.Where.Gear, rpm: c.At.RPM, load: c.At.Load, firings: c.Missing + 1}.cell())
		}
	}
	more.Total[1].Firings = 1
	more.Engine = after.summary.Engine
	in.After.Drives = append(in.After.Drives, more)
	second, err := proof.Compare(in)
	require.NoError(t, err)
	require.Equal(t, proof.Proven, second.Outcome)
}

// A fault whose misses come in long runs: a short clean drive says what is known and claims nothing.
func TestBurstyRepairSaysWhatIsKnown(t *testing.T) {
	simulation(t)
	before := drive(t, "wren-bursty", 1, time.Hour)
	after := drive(t, "wren-repaired", 2, 8*time.Minute)
	got, err := proof.Compare(proof.Input{Before: before.side(), After: after.side()})
	require.NoError(t, err)
	require.Equal(t, proof.NotYet, got.Outcome)
	worst := got.Cylinders[0].Conditions[0]
	require.Greater(t, worst.Pauses.Mean, 1.5)
	require.Positive(t, worst.Every)
}

func TestSimulatedSwaps(t *testing.T) {
	simulation(t)
	before := drive(t, "wren", 1, 20*time.Minute)
	for after, want := range map[string]proof.SwapVerdict{"wren-swapped": proof.FollowedPart, "wren-wrong-wire": proof.StayedPut, "wren-repaired": proof.NeitherMisses} {
		r, err := proof.CompareSwap(proof.Input{Before: before.side(), After: drive(t, after, 2, 30*time.Minute).side()}, proof.Swap{Part: "wire", A: 1, B: 2})
		require.NoError(t, err)
		require.Equal(t, want, r.Verdict)
		require.Equal(t, 2, r.From)
		require.Equal(t, 1, r.To)
		require.GreaterOrEqual(t, r.Odds, 99.0)
	}
}

// A car without counts cannot be compared, and is told so in one line.
func TestCarWithoutCounts(t *testing.T) {
	before := drive(t, "wren", 1, 10*time.Minute)
	silent := &misfire.Summary{Engine: before.summary.Engine}
	_, err := proof.Compare(proof.Input{Before: before.side(), After: sideOf(silent)})
	require.EqualError(t, err, "the drive after holds no misfire counts of a running engine: record one on a car that counts misses by cylinder, for longer")
}

// The cycles of a simulated cold start: the car warms up once, and a drive of the workshop's script is a general
// denominator trip.
func TestSimulatedCycles(t *testing.T) {
	p := drive(t, "wren-cold", 1, 25*time.Minute).cycles
	require.Equal(t, 1, p.Starts)
	require.Equal(t, 1, p.WarmUps)
	require.True(t, p.Now.Trip)
	require.True(t, p.Now.Counted)
}
