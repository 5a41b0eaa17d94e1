package report

import (
	"bytes"
	"context"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"stumble/misfire"
	layouts "stumble/misfire/engine"
	"stumble/misfire/gear"
	"stumble/misfire/proof"
	"stumble/misfire/rate"
	"stumble/obd"
	"stumble/obd/sim/car"
)

// tool finds a program of the system that the printed page is read back with. On a computer without it the test is left
// out, unless STUMBLE_TOOLS=1 promises that it is there.
func tool(t testing.TB, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err == nil {
		return path
	}
	const hint = "apt-get install chromium poppler-utils"
	if os.Getenv("STUMBLE_TOOLS") == "1" {
		t.Fatalf("%s is missing, and STUMBLE_TOOLS=1 says that it is there: %s", name, hint)
	}
	t.Skipf("%s is not installed: %s", name, hint)
	return ""
}

// output runs a program of the system and gives what it printed. The time is for one that hangs.
func output(t testing.TB, name string, args ...string) []byte {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	run := exec.CommandContext(ctx, tool(t, name), args...)
	var complaints bytes.Buffer
	run.Stderr = &complaints
	out, err := run.Output()
	require.NoError(t, err, "%s: %s", name, complaints.String())
	require.Empty(t, complaints.String(), name)
	return out
}

// pdfFile writes a document as PDF into a file of the test.
func pdfFile(t testing.TB, d *Document) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "report.pdf")
	var b bytes.Buffer
	require.NoError(t, d.WritePDF(&b))
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	return path
}

// trip is a drive that was counted.
type trip struct {
	summary *misfire.Summary
	moments []misfire.Moment
	err     error
}

// trips are the drives of the Wren before and after its repair; they are counted once.
var trips = sync.OnceValue(func() [2]trip { return [2]trip{driven("wren"), driven("wren-repaired")} })

// driven is what a simulated car tells on twenty minutes of driving, asked in turn for engine values, counts, gear and
// lamp.
func driven(scenario string) trip {
	c, err := car.NewScenario(scenario, 1, noon)
	if err != nil {
		return trip{err: err}
	}
	cylinders := len(c.Vehicle().FiringOrder)
	layout, err := layouts.Plain(cylinders)
	if err != nil {
		return trip{err: err}
	}
	tally := misfire.NewTally(misfire.Config{Engine: layout})
	var moments []misfire.Moment
	var answers []car.Answer
	var s obd.Sample
	turn, every := 0, 100*time.Millisecond
	for at := time.Duration(0); at < 20*time.Minute; at += every {
		turn++
		request := []byte{0x01, obd.PIDRPM, obd.PIDLoad, obd.PIDSpeed, obd.PIDThrottle, obd.PIDFuelSystem}
		switch {
		case turn%30 == 1:
			request = []byte{0x01, obd.PIDCoolant, obd.PIDStatus}
		case turn%30 == 2:
			request = []byte{0x01, obd.PIDAuxiliary, obd.PIDGear}
		case turn%2 == 0:
			request = []byte{0x06, obd.MIDCylinder1 + byte(turn/2%cylinders)}
		}
		s.Sent, s.Received, s.Readings = noon.Add(at), noon.Add(at+every/5), s.Readings[:0]
		answers = c.Request(answers[:0], s.Sent, 0, request)
		for _, a := range answers {
			decode := obd.AppendLive
			if request[0] == 0x06 {
				decode = obd.AppendCounts
			}
			if readings, err := decode(s.Readings, obd.Message{Module: obd.Module{ID: 0x7D8 + uint32(a.Module), Bits: 11}, Data: a.Data}); err == nil {
				s.Readings = readings
			}
		}
		tally.Add(&s)
		if turn%3000 == 0 {
			moments = joined(moments, tally.Strip(nil))
		}
	}
	tally.Finish()
	return trip{summary: tally.Summary(), moments: joined(moments, tally.Strip(nil))}
}

// joined goes on with newer moments where they begin.
func joined(older, newer []misfire.Moment) []misfire.Moment {
	for len(older) > 0 && len(newer) > 0 && !older[len(older)-1].At.Before(newer[0].At) {
		older = older[:len(older)-1]
	}
	return append(older, newer...)
}

// repaired is the case of a car that was driven, repaired, and driven again.
func repaired(t testing.TB) *Case {
	t.Helper()
	c := &Case{
		Made: noon.Add(48 * time.Hour), Shop: Shop{Name: "Corner Garage", Address: "1 Mill Lane\nNewtown"},
		Job:    Job{Number: 3, Name: "jerks in Drive", Complaint: "Jerks in Drive at the lights, fine in Park", Opened: noon, VIN: "0LKWR16A4R0104217", Vehicle: "Larkspur Wren"},
		Before: Visit{At: noon, Intake: wrenIntake(t)},
		Notes:  []Note{{At: noon.Add(time.Hour), Text: "Wire of cylinder 2 replaced."}},
	}
	codes := c.Before.Intake.CodeReport
	c.Before.Codes = &codes
	sides := [2]proof.Side{}
	for i, trip := range trips() {
		require.NoError(t, trip.err)
		d := Drive{
			Number: int64(i + 1), Side: SideBefore + Side(i), Adapter: "ELM327 v2.2", Protocol: "ISO 15765-4", Summary: trip.summary, Moments: trip.moments,
			Exchanges: 12345, Marks: []Mark{{At: noon.Add(time.Minute), Gear: gear.Drive}, {At: noon.Add(2 * time.Minute), Text: "a pop heard"}},
		}
		c.Drives = append(c.Drives, d)
		sides[i].Drives = []*misfire.Summary{trip.summary}
	}
	compared, err := proof.Compare(proof.Input{Before: sides[0], After: sides[1]})
	require.NoError(t, err)
	c.Proof = &Proof{Chosen: "the first and the last drive", Result: compared}
	return c
}

// foreignNames are names as long, and in as many scripts, as anybody could give.
func foreignNames() []string {
	return []string{
		"Wren der Bundesstraßenmeisterei Nürnberg-Süd, Đặng", "Ταχύς 1.6 Двигатель", "רכב של מוסך הפינה (ABC 12)", "سيارة الورشة رقم ١٢", "रेन कार क्षेत्र",
		"小车 エンジン 엔진", "เครื่องยนต์สั่น", strings.Repeat("Donaudampfschifffahrt", 12), strings.Repeat("long words and short ones ", 20), "\U00013000 \u0f40",
	}
}

// crowded is a case with as much in it as there may ever be: sixteen cylinders in five gear states, ten hours, hundreds
// of marks, and names from everywhere. A short run has less of it.
func crowded(t testing.TB) *Case {
	t.Helper()
	layout, err := layouts.Plain(16)
	require.NoError(t, err)
	s := &misfire.Summary{Start: noon, Now: noon.Add(10 * time.Hour), Running: 10 * time.Hour, Engine: layout}
	for cylinder := 1; cylinder <= 16; cylinder++ {
		total := misfire.Cell{Cylinder: cylinder, Reported: cylinder != 5}
		for g := gear.Unknown; g <= gear.Moving; g++ {
			cell := misfire.Cell{
				Cylinder: cylinder, Reported: total.Reported, Apart: true, Judged: true, Condition: misfire.Condition{Gear: g, Load: misfire.LoadBand(cylinder % misfire.LoadBands), RPM: misfire.RPMBand(g), Warm: true},
				Origin: gear.Marked, Estimate: rate.Interval(math.Floor(1e5/float64(cylinder*cylinder*(int(g)+1))), 1e6, 1), Running: time.Hour, RPM: 900, Load: 30,
			}
			s.ByGear, s.Cells = append(s.ByGear, cell), append(s.Cells, cell)
		}
		total.Estimate = rate.Interval(1e5/float64(cylinder), 5e6, 1)
		s.Total = append(s.Total, total)
	}
	names := foreignNames()
	c := &Case{
		Made: noon, Shop: Shop{Name: names[0], Address: strings.Join(names[:4], "\n")},
		Job: Job{Number: 1, Name: names[7], Complaint: strings.Join(names, " "), Opened: noon, Vehicle: names[2]},
	}
	d := Drive{Number: 1, Name: names[3], Summary: s}
	seconds, notes := 36000, 500
	if testing.Short() {
		seconds, notes = 3600, 60
	}
	for i := range seconds {
		m := misfire.Moment{At: noon.Add(time.Duration(i) * time.Second), Gear: gear.State(i / 97 % 5), RPM: 800 + 2000*math.Abs(math.Sin(float64(i)/50)), Load: 50 + 49*math.Sin(float64(i)/31)}
		m.Misses[i%16] = uint16(i / 7 % 3)
		d.Moments = append(d.Moments, m)
	}
	for i := range notes {
		d.Marks = append(d.Marks, Mark{At: noon.Add(time.Duration(i) * 71 * time.Second), Text: names[i%len(names)]})
		c.Notes = append(c.Notes, Note{At: noon, Text: names[i%len(names)]})
	}
	c.Drives = []Drive{d}
	return c
}

// cases are what the printed pages are tried with.
func cases(t testing.TB) map[string]*Case {
	return map[string]*Case{"repaired": repaired(t), "crowded": crowded(t), "empty": {}}
}
