package vehicle

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
	"stumble/obd/sim/car"
)

// wire is a simulated car and the wire it is polled over.
type wire struct {
	protocol  obd.Protocol
	cylinders int
	baud      int           // 0: bytes take no time, as over a network
	latency   time.Duration // of the way to the computer
	delay     time.Duration // of the module; 0: the bus's usual
	pairs     bool          // the car answers two monitors in one request
}

func (w wire) String() string {
	link := fmt.Sprint(w.baud)
	if w.baud == 0 {
		link = "TCP"
	}
	if w.pairs {
		link += "/pairs"
	}
	return fmt.Sprintf("%v/%s/%dcyl/%v", w.protocol, link, w.cylinders, w.delay)
}

// vehicle is a sound car with so many cylinders; a transmission module of its own on CAN.
func (w wire) vehicle() car.Vehicle {
	v := car.Wren()
	if !w.protocol.CAN() {
		v = car.Rook()
	}
	v.Protocol = w.protocol
	if w.cylinders != len(v.FiringOrder) {
		v.FiringOrder, v.Banks, v.Coils = nil, make([][]int, 2), nil
		for i := 1; i <= w.cylinders; i++ {
			v.FiringOrder = append(v.FiringOrder, i)
			v.Banks[i%2] = append(v.Banks[i%2], i)
		}
	}
	return v
}

// pace is what a minute of polling brought.
type pace struct {
	counts    float64       // counters of cylinders read a second
	oldest    time.Duration // mean over time of the age of the oldest cylinder's count
	rpm       float64       // engine speeds of the engine's module a second
	exchanges float64       // a second
	error     float64       // of the firings reckoned by trapezoids, against those that were, in percent
	kinds     map[string]int
	wait      map[string]time.Duration
	counting  time.Duration // from opening the port to the first count, or engine speed where there are none
}

// script is one minute with a stand, a pull and a coast.
func paceScript() car.Script {
	return car.Script{Steps: []car.Step{
		{Maneuver: car.ParkIdle, Duration: 10 * time.Second, Exact: true}, {Maneuver: car.Pull, Duration: 20 * time.Second, Exact: true},
		{Maneuver: car.Cruise, Duration: 15 * time.Second, Exact: true}, {Maneuver: car.Coast, Duration: 15 * time.Second, Exact: true},
	}}
}

// measure polls a minute over the wire.
func (w wire) measure(t testing.TB) pace {
	t.Helper()
	clk := clock.NewStepped(morning)
	c, err := car.New(car.Config{Vehicle: w.vehicle(), Coolant: 85, Running: true, Script: paceScript(),
		Controller: car.Controller{Latency: w.delay, Pairs: w.pairs}}, 7, clk.Now())
	require.NoError(t, err)
	l := sim.NewLink(sim.NewAdapter(sim.Config{Bus: c, Baud: w.baud, Latency: w.latency, Filler: 0xAA, Seed: 7}), clk)
	p := pace{kinds: map[string]int{}, wait: map[string]time.Duration{}}
	polling := false
	a, err := elm.Connect(t.Context(), elm.Config{
		Clock: clk, Dial: func(context.Context) (elm.Link, error) { return l, nil },
		Observe: func(e *obd.Exchange) {
			if polling {
				kind := kindOf(string(e.Request))
				p.kinds[kind]++
				p.wait[kind] += e.Received.Sub(e.Sent)
			}
		},
	})
	require.NoError(t, err)
	defer a.Close()
	caps, err := Discover(t.Context(), a)
	require.NoError(t, err)
	polling = true
	m := gauge{w: w, at: map[byte]time.Time{}}
	var began time.Time
	var before float64
	err = NewPoller(a, caps, clk).Run(t.Context(), func(s *obd.Sample) error {
		if p.counting == 0 && (w.protocol.CAN() == slices.ContainsFunc(s.Readings, func(r obd.Reading) bool { return r.Service == obd.TestResults })) {
			p.counting = s.Received.Sub(morning)
		}
		if m.take(s); began.IsZero() && !m.rpmAt.IsZero() {
			began, before = m.rpmAt, fired(c)
			m.begin(began)
		}
		if !began.IsZero() && m.rpmAt.Sub(began) >= time.Minute {
			return errOver
		}
		return nil
	})
	require.ErrorIs(t, err, errOver)
	seconds := m.rpmAt.Sub(began).Seconds()
	p.counts, p.rpm = float64(m.counts)/seconds, float64(m.rpms)/seconds
	if m.aged > 0 {
		p.oldest = time.Duration(m.area / m.aged.Seconds() * float64(time.Second))
	}
	n := 0
	for _, k := range p.kinds {
		n += k
	}
	p.exchanges = float64(n) / seconds
	truth := fired(c) - before
	p.error = 100 * math.Abs(m.revs/2*float64(w.cylinders)-truth) / truth
	return p
}

// fired is every firing of the car so far.
func fired(c *car.Car) (n float64) {
	t := c.Truth()
	for i := range len(t.Unmonitored) {
		n += float64(t.Sum(i+1, nil).Firings + t.Unmonitored[i])
	}
	return n
}

// gauge adds up what samples bring.
type gauge struct {
	w            wire
	counts, rpms int
	at           map[byte]time.Time // of each monitor's count
	last         time.Time
	aged         time.Duration
	area         float64 // of the oldest count's age over time, in square seconds
	rpm          float64
	rpmAt        time.Time
	revs         float64
}

func (m *gauge) begin(time.Time) { m.counts, m.rpms, m.revs, m.area, m.aged = 0, 0, 0, 0, 0 }

func (m *gauge) take(s *obd.Sample) {
	now := s.Received
	if len(m.at) == m.w.cylinders {
		oldest := now
		for _, at := range m.at {
			if at.Before(oldest) {
				oldest = at
			}
		}
		to, from := now.Sub(oldest).Seconds(), m.last.Sub(oldest).Seconds()
		m.area += (to*to - from*from) / 2
		m.aged += now.Sub(m.last)
	}
	m.last = now
	for _, r := range s.Readings {
		switch {
		case r.Service == obd.TestResults && r.Part == obd.TIDCount && r.ID >= obd.MIDCylinder1:
			m.counts++
			m.at[r.ID] = now
		case r.Service == obd.LiveData && r.ID == obd.PIDRPM && (r.Module.ID == 0x7E8 || r.Module.ID == 0x10):
			at := s.Sent.Add(now.Sub(s.Sent) / 2)
			if !m.rpmAt.IsZero() {
				m.revs += (m.rpm + r.Value) / 2 / 60 * at.Sub(m.rpmAt).Seconds()
			}
			m.rpm, m.rpmAt = r.Value, at
			m.rpms++
		}
	}
}

// kindOf names a line for the log of requests.
func kindOf(line string) string {
	switch {
	case strings.HasPrefix(line, "AT"):
		return "set-up " + line
	case strings.HasPrefix(line, "06A1"):
		return "total"
	case strings.HasPrefix(line, "06"):
		return "count"
	case strings.Contains(line[:len(line)&^1], "0C"):
		return "speed and what follows it"
	case strings.HasPrefix(line, "0101"):
		return "lamp"
	case strings.Contains(line, "A4"), strings.Contains(line, "65"):
		return "gear"
	}
	return "slow"
}

var _ = errors.New

// BenchmarkPace prints what each wire brings.
func BenchmarkPace(b *testing.B) {
	for _, w := range wires() {
		b.Run(w.String(), func(b *testing.B) {
			var p pace
			for b.Loop() {
				p = w.measure(b)
			}
			b.ReportMetric(p.counts, "counts/s")
			b.ReportMetric(p.oldest.Seconds(), "oldest_s")
			b.ReportMetric(p.rpm, "rpm/s")
			b.ReportMetric(p.exchanges, "exchanges/s")
			b.ReportMetric(p.error, "%firings")
			b.ReportMetric(p.counting.Seconds(), "start_s")
			b.ReportMetric(0, "ns/op")
		})
	}
}

func wires() (all []wire) {
	for _, baud := range []int{38400, 115200, 500000, 0} {
		for _, cylinders := range []int{4, 6, 8, 12} {
			for _, delay := range []time.Duration{5, 12, 25, 50} {
				all = append(all, wire{protocol: obd.CAN11At500, cylinders: cylinders, baud: baud, delay: delay * time.Millisecond})
			}
		}
	}
	return append(all,
		wire{protocol: obd.CAN11At500, cylinders: 4, baud: 115200, delay: 12 * time.Millisecond, pairs: true},
		wire{protocol: obd.CAN11At500, cylinders: 8, baud: 115200, delay: 50 * time.Millisecond, pairs: true},
		wire{protocol: obd.ISO9141, cylinders: 4, baud: 38400}, wire{protocol: obd.KWPFast, cylinders: 4, baud: 38400},
		wire{protocol: obd.J1850VPW, cylinders: 4, baud: 38400}, wire{protocol: obd.J1850PWM, cylinders: 4, baud: 38400})
}

func TestLogOfAMinute(t *testing.T) {
	w := wire{protocol: obd.CAN11At500, cylinders: 4, baud: 115200, delay: 12 * time.Millisecond}
	p := w.measure(t)
	var kinds []string
	for k := range p.kinds {
		kinds = append(kinds, k)
	}
	slices.Sort(kinds)
	for _, k := range kinds {
		t.Logf("%-28s %5d requests, %5.1f s", k, p.kinds[k], p.wait[k].Seconds())
	}
	t.Logf("%+v", p)
}
