package job

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
	"stumble/obd/vehicle"
)

// begins plugs a car in, drives ten seconds of it, and tells how long it took from opening the port to the first engine
// speed and to the first count, and what was sent.
func begins(t *testing.T, j *journal.Journal, v car.Vehicle, baud int, delay time.Duration) (speed, count time.Duration, sent []string) {
	t.Helper()
	clk := clock.NewStepped(morning())
	c, err := car.New(car.Config{Vehicle: v, Running: true, Coolant: 80, Controller: car.Controller{Latency: delay}}, 1, clk.Now())
	require.NoError(t, err)
	dialer := sim.NewDialer(sim.NewAdapter(sim.Config{Bus: c, Baud: baud, Filler: 0xAA, Seed: 1}), clk, sim.Drops{})
	m := &Memory{Journal: j, Place: func() string { return "/dev/ttyUSB0" }, Now: clk.Now}
	began := clk.Now()
	x, err := Connect(t.Context(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) { return dialer.Dial(ctx) }}, &Waiting{}, m)
	require.NoError(t, err)
	defer x.Close()
	x.record = func(e *obd.Exchange) { sent = append(sent, string(e.Request)) }
	d, err := x.Drive(t.Context(), Setup{}, misfire.Config{}, nil, nil)
	require.NoError(t, err)
	d.Until = d.Now().Add(10 * time.Second)
	d.Heed(func(s *obd.Sample) {
		for _, r := range s.Readings {
			switch since := s.Received.Sub(began); {
			case speed == 0 && r.Service == obd.LiveData && r.ID == obd.PIDRPM:
				speed = since
			case count == 0 && r.Service == obd.TestResults && r.Part == obd.TIDCount:
				count = since
			}
		}
	})
	require.ErrorIs(t, d.Run(t.Context(), time.Second, ignore), ErrTimeUp)
	assert.Equal(t, v.VIN, d.Setup.VIN)
	return speed, count, sent
}

// withCylinders is a car of so many cylinders.
func withCylinders(v car.Vehicle, n int) car.Vehicle {
	v.FiringOrder, v.Banks, v.Coils = nil, make([][]int, 2), nil
	for i := 1; i <= n; i++ {
		v.FiringOrder = append(v.FiringOrder, i)
		v.Banks[i%2] = append(v.Banks[i%2], i)
	}
	return v
}

// A car that is not known counts within 2.5 seconds of opening the port, one that is known within 1.0.
func TestStart(t *testing.T) {
	for _, baud := range []int{38400, 115200, 500000, 0} {
		for _, cylinders := range []int{4, 12} {
			for _, delay := range []time.Duration{5, 12, 25, 50} {
				name := fmt.Sprintf("%d baud, %d cylinders, %d ms", baud, cylinders, delay)
				t.Run(name, func(t *testing.T) {
					j := aJournal(t)
					v := withCylinders(car.Wren(), cylinders)
					newSpeed, newCount, _ := begins(t, j, v, baud, delay*time.Millisecond)
					speed, count, sent := begins(t, j, v, baud, delay*time.Millisecond)
					t.Logf("unknown: speed %.2f s, count %.2f s; known: speed %.2f s, count %.2f s", newSpeed.Seconds(), newCount.Seconds(), speed.Seconds(), count.Seconds())
					assert.LessOrEqual(t, newCount, 2500*time.Millisecond)
					assert.LessOrEqual(t, count, time.Second)
					assert.NotContains(t, sent, "060020406080A0", "nothing is asked that is known")
				})
			}
		}
	}
}

// Another car at the same adapter is not taken for the one that is known, nor the same car after it was changed to speak
// another protocol.
func TestAnotherCarIsNotTheKnownOne(t *testing.T) {
	j := aJournal(t)
	_, _, _ = begins(t, j, car.Wren(), 115200, 0)
	m := &Memory{Journal: j, Place: func() string { return "/dev/ttyUSB0" }, Now: morning}
	require.NotNil(t, m.Car(car.Wren().VIN))
	assert.Equal(t, 4, m.Car(car.Wren().VIN).Cylinders())
	assert.Nil(t, m.Car(car.Curlew().VIN))
	_, count, _ := begins(t, j, car.Curlew(), 115200, 0)
	assert.Positive(t, count)
	assert.Equal(t, 6, m.Car(car.Curlew().VIN).Cylinders())
	wide := car.Wren()
	wide.Protocol = obd.CAN29At500
	_, count, _ = begins(t, j, wide, 115200, 0)
	assert.Positive(t, count)
	assert.Equal(t, obd.CAN29At500, m.Car(wide.VIN).Protocol)
	assert.Equal(t, KnownAdapter{Identity: "ELM327 v2.2", Protocol: obd.CAN29At500, VIN: wide.VIN}, m.Adapter("/dev/ttyUSB0"))
	assert.Equal(t, "/dev/ttyUSB0", m.LastPlace())
}

// Without a journal nothing is remembered, and nothing fails.
func TestNoMemory(t *testing.T) {
	for _, m := range []*Memory{nil, {}} {
		assert.Nil(t, m.Car("0LKWR16A4R0104217"))
		m.SaveCar("0LKWR16A4R0104217", &vehicle.Capabilities{})
		m.SaveAdapter(func(*KnownAdapter) {})
		assert.Empty(t, m.LastPlace())
		assert.Zero(t, m.Adapter("x"))
	}
}
