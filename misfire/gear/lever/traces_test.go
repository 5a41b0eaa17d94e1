package lever_test

import (
	"encoding/csv"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire/gear/lever"
)

// point is one row of a trace.
type point struct {
	at   float64
	tick lever.Tick
	want string // P, G, M or off
}

// traces reads the check vectors, by name: short drives of fourteen families from a torque balance of the idling
// engine, 2.5 to 5 rows a second, with what the lever really did.
func traces(t testing.TB) map[string][]point {
	t.Helper()
	file, err := os.Open("../../../testdata/vectors/gear-traces.csv")
	require.NoError(t, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(t, err)
	all := make(map[string][]point)
	for _, row := range rows[1:] {
		v := func(i int) float64 {
			if row[i] == "" {
				return math.NaN()
			}
			x, err := strconv.ParseFloat(row[i], 64)
			require.NoError(t, err)
			return x
		}
		all[row[0]] = append(all[row[0]], point{at: v(1), want: row[7], tick: lever.Tick{RPM: v(2), Load: v(3),
			Speed: v(5), Pedal: v(6), Throttle: math.NaN(), Volts: math.NaN()}})
	}
	return all
}

// score is time at rest, in seconds.
type score struct{ right, wrong, all float64 }

func (s *score) add(o score) { s.right, s.wrong, s.all = s.right+o.right, s.wrong+o.wrong, s.all+o.all }

func (s score) String() string {
	return fmt.Sprintf("%5.1f/%4.1f", 100*s.right/s.all, 100*s.wrong/s.all)
}

// feed gives the points to a bank in even ticks, the last value holding where none came.
func feed(b *lever.Bank, points []point) {
	held := lever.Tick{Load: math.NaN(), Speed: math.NaN(), Pedal: math.NaN(), Throttle: math.NaN(), Volts: math.NaN()}
	i := 0
	for at := points[0].at; i < len(points); at += lever.Period {
		n, rpm, loads, load := 0.0, 0.0, 0.0, 0.0
		for ; i < len(points) && points[i].at < at+lever.Period; i++ {
			k := points[i].tick
			rpm, n = rpm+k.RPM, n+1
			if !math.IsNaN(k.Load) {
				load, loads = load+k.Load, loads+1
			}
			for _, v := range []struct {
				to   *float64
				from float64
			}{{&held.Speed, k.Speed}, {&held.Pedal, k.Pedal}, {&held.Volts, k.Volts}} {
				if !math.IsNaN(v.from) {
					*v.to = v.from
				}
			}
		}
		if n > 0 {
			held.RPM = rpm / n
		}
		if loads > 0 {
			held.Load = load / loads
		}
		b.Add(at, held)
	}
}

// judge compares what is said with what was, but for 1.5 s beside moving and the moments that are not judged.
func judge(b *lever.Bank, points []point) (s score, gear float64) {
	spans := b.Spans()
	at := 0
	for i := 1; i < len(points); i++ {
		p := &points[i]
		if p.want != "P" && p.want != "G" || nearMoving(points, i) {
			continue
		}
		for at < len(spans) && spans[at].To <= p.at {
			at++
		}
		state := lever.Unknown
		if at < len(spans) && spans[at].From <= p.at && !spans[at].Stir {
			state = spans[at].State
		}
		dt := p.at - points[i-1].at
		s.all += dt
		switch {
		case state == lever.Unknown:
		case (state == lever.InGear) == (p.want == "G"):
			s.right += dt
		default:
			s.wrong += dt
		}
		if state == lever.InGear {
			gear += dt
		}
	}
	return s, gear
}

func nearMoving(points []point, i int) bool {
	for j := i; j >= 0 && points[i].at-points[j].at < 1.5; j-- {
		if points[j].want == "M" {
			return true
		}
	}
	for j := i; j < len(points) && points[j].at-points[i].at < 1.5; j++ {
		if points[j].want == "M" {
			return true
		}
	}
	return false
}

// What section 7 of the method promises: nothing is called in gear of a car that stayed in park, wrong at most 2 % over
// all, and a car told to be a manual is free whenever it stands.
func TestTraces(t *testing.T) {
	all := traces(t)
	byFamily := make(map[string]*[2]score)
	var total [2]score
	for _, name := range slices.Sorted(maps.Keys(all)) {
		family := name[:strings.LastIndex(name, "-")]
		if byFamily[family] == nil {
			byFamily[family] = &[2]score{}
		}
		told := lever.Converter
		switch {
		case strings.HasPrefix(family, "manual"):
			told = lever.Manual
		case family == "hybrid" || family == "inc":
			told = lever.Other
		}
		for i, box := range []lever.Box{lever.NotTold, told} {
			b := lever.New(box)
			feed(b, all[name])
			s, gear := judge(b, all[name])
			byFamily[family][i].add(s)
			total[i].add(s)
			if strings.HasPrefix(family, "park") {
				require.Zero(t, gear, "%s never left park", name)
			}
			if box == lever.Manual {
				require.Zero(t, s.wrong+gear, name)
			}
		}
	}
	for _, family := range slices.Sorted(maps.Keys(byFamily)) {
		f := byFamily[family]
		t.Logf("%-14s not told %s   told %s", family, f[0], f[1])
	}
	t.Logf("%-14s not told %s   told %s", "all", total[0], total[1])
	for _, s := range total {
		require.LessOrEqual(t, s.wrong/s.all, 0.02)
	}
}
