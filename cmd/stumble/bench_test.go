package main

import (
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
	"stumble/misfire/journal"
	"stumble/obd/clock"
)

// aBench is a journal with one job, of a car with four cylinders.
func aBench(t testing.TB) string {
	t.Helper()
	path := aJournal(t)
	inJournal(t, path, func(j *journal.Journal) {
		_, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "Larkspur Wren 1.6", Layout: "i4-1342"}, Opened: morning()})
		require.NoError(t, err)
	})
	return path
}

// benchOf runs the command on a journal, with what is typed.
func benchOf(t testing.TB, path, typed string, args ...string) outcome {
	t.Helper()
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	a.in = strings.NewReader(typed)
	status := a.run(append([]string{"bench", "--journal", path}, args...))
	return outcome{status, out.String(), errs.String()}
}

// rows are the readings in the journal.
func rows(t testing.TB, path string) (all []journal.BenchReading) {
	t.Helper()
	inJournal(t, path, func(j *journal.Journal) {
		var err error
		all, err = j.BenchReadings(1)
		require.NoError(t, err)
	})
	return all
}

func TestBenchTakesReadings(t *testing.T) {
	path := aBench(t)
	o := benchOf(t, path, "", "wire", "1=11.8kohm@60cm", "2=OL", "3=12,3kohm@60cm", "4=14kohm@70cm", "--maker", "4-16kohm")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Equal(t, "4 readings saved in job 1, Larkspur Wren 1.6\n", o.errs)
	assert.True(t, strings.HasPrefix(o.out, "Bad: plug wire of cylinder 2.\n\nPlug wire\n    1  cylinder 1   11.8 kohm at 60 cm: good\n"), o.out)
	assert.Contains(t, o.out, "cylinder 2   open: BAD")
	assert.Contains(t, strings.Join(strings.Fields(o.out), " "), "Spark can still jump the break at times")
	golden(t, "bench.txt", o.out)

	all := rows(t, path)
	require.Len(t, all, 4)
	assert.Equal(t, 12.3, all[2].Value)
	assert.Equal(t, "wire resistance kohm", all[2].Kind+" "+all[2].Quantity+" "+all[2].Unit)
	assert.True(t, math.IsNaN(all[1].Value))
	assert.Equal(t, "OL", all[1].Text)
	var kept bench.Record
	require.NoError(t, json.Unmarshal(all[0].Judged, &kept))
	assert.Equal(t, [2]string{"maker_within", "in_step"}, [2]string{kept.Findings[0].Says, kept.Findings[1].Says}, "codes, no sentences")
	assert.Equal(t, bench.FigureRecord{Value: 11.8, Unit: "kohm"}, kept.Findings[0].About[0])
	assert.Equal(t, &bench.TypedRecord{Unit: "kohm", Length: "cm"}, kept.Typed)
	assert.Equal(t, 0.6, kept.Length)
	assert.NotContains(t, string(all[0].Judged), "why")

	again := benchOf(t, path, "")
	requireDone(t, again)
	assert.Equal(t, o.out, again.out, "stored, they are judged the same")
}

// A set is judged anew as later readings come; what was said then stays in the journal.
func TestBenchJudgesAnew(t *testing.T) {
	path := aBench(t)
	for _, words := range []string{"4=8kohm", "1=4kohm", "2=4.1kohm", "3=4kohm"} {
		require.Equal(t, statusDone, benchOf(t, path, "", "wire", "--length", "60cm", words).status)
	}
	o := benchOf(t, path, "", "--json")
	requireDone(t, o)
	var page struct {
		Kind, Sentence string
		Job            int
		Readings       []struct {
			Reading, Cylinder int
			Mark, Part        string
			Then              string  `json:"mark_then"`
			Length            float64 `json:"length_m"`
			Findings          []map[string]any
		}
	}
	require.NoError(t, json.Unmarshal([]byte(o.out), &page))
	assert.Equal(t, "bench", page.Kind)
	assert.Equal(t, 1, page.Job)
	assert.Equal(t, "Suspect: plug wire of cylinder 4.", page.Sentence)
	require.Len(t, page.Readings, 4)
	first := page.Readings[0]
	assert.Equal(t, "suspect good", first.Mark+" "+first.Then, "alone it was good")
	assert.Equal(t, 0.6, first.Length)
	assert.Len(t, first.Findings, 2)

	require.Equal(t, statusDone, benchOf(t, path, "", "wire", "--length", "60cm", "4=4.2kohm").status)
	after := benchOf(t, path, "")
	assert.Contains(t, after.out, "Nothing stands out.")
	assert.Contains(t, after.out, "8 kohm at 60 cm: measured again later")
	assert.Len(t, rows(t, path), 5)
}

func TestBenchTable(t *testing.T) {
	path := aBench(t)
	file := filepath.Join(t.TempDir(), "readings.csv")
	require.NoError(t, os.WriteFile(file, []byte("kind,cylinder,value\ncompression,1,12bar\ncompression,2,8bar\nbattery,,12.6V\nspark,2,\"weak, yellow\"\n"), 0o600))
	o := benchOf(t, path, "", "--csv", file)
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "Bad: compression of cylinder 2. Suspect: spark test of cylinder 2.")
	assert.Len(t, rows(t, path), 4)

	o = benchOf(t, path, "kind;cylinder;value\nplug-gap;1;1,05mm\n", "--csv", "-")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Len(t, rows(t, path), 5)

	require.NoError(t, os.WriteFile(file, []byte("kind,cylinder,value\nleakdown,1,8%\nleakdown,5,8%\n"), 0o600))
	requireOneLine(t, benchOf(t, path, "", "--csv", file), statusUsage, "line 3: there is no cylinder 5: they are 1 to 4; nothing is saved")
	requireOneLine(t, benchOf(t, path, "", "--csv", filepath.Join(t.TempDir(), "none")), statusUsage, "cannot read the table", "check what --csv names")
	assert.Len(t, rows(t, path), 5)
}

// The engine that was named once is that of the vehicle, and what it has no cylinder for is refused from then on.
func TestBenchKeepsTheEngine(t *testing.T) {
	path := aJournal(t)
	o := benchOf(t, path, "", strings.Fields("--new-job --name van --engine i4-1342 compression 1=170psi 2=110psi 3=100psi")...)
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "Bad: compression of cylinders 2 and 3.")
	requireOneLine(t, benchOf(t, path, "", "compression", "9=100psi"), statusUsage, "there is no cylinder 9: they are 1 to 4")
	o = benchOf(t, path, "", "leak-down", "3=45%")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "leak-down of cylinder 3")
}

// Nonsense is told on one line, and of what was typed with it nothing is saved.
func TestBenchRefuses(t *testing.T) {
	path := aBench(t)
	for _, c := range []struct{ args, says string }{
		{"wires 1=12kohm", `there is no kind of reading "wires"; perhaps wire is meant; 'stumble bench kinds' lists them`},
		{"gap 1=1mm", "perhaps plug-gap is meant"},
		{"hoses 1=1mm", `there is no kind of reading "hoses"; 'stumble bench kinds' lists them`},
		{"wire 1=12kohm@60cm 2=-5kohm@60cm", "cannot be below zero: measure again; nothing is saved"},
		{"wire 1=12kohm@60cm 2=x", `"x" is no number with a unit`},
		{"wire 1=12kohm@60cm 2=1e99kohm@60cm", "is no number with a unit"},
		{"wire 1=NaN@60cm", "is no number with a unit"},
		{"wire 1=12V@60cm", `"V" is no unit for this: give it in ohm, kohm, Mohm`},
		{"wire 1=12kohm", "the length of the wire is missing"},
		{"wire 9=12kohm@60cm", "there is no cylinder 9: they are 1 to 4"},
		{"wire 1=OL 1=12kohm@60cm", `"1=12kohm@60cm": that was told already`},
		{"battery 12.5V 12.6V", `"12.6V": that was told already`},
		{"wire 12kohm@60cm", "does not tell the cylinder"},
		{"wire 1=1,200kohm@60cm", "could be 1.200 or 1200"},
		{"wire 1=OL --length 60", "--length: the unit of 60 is missing"},
		{"wire 1=OL --maker good", "write a maker's figure as"},
		{"wire 1=OL --variant direct", "there are no variants of plug wire"},
		{"injector 1=2ohm --length 60cm", "only a wire has a length"},
		{"--maker 4-12kohm", "--maker goes with readings of one kind"},
		{"--csv - wire", `leave "wire" out`},
		{"kinds now", `"now" is one argument too many`},
		{"delete", "say which reading by its number"},
		{"delete x", `"x" is no number of a reading`},
		{"delete 3 4", `"4" is one argument too many`},
		{"delete 3", "there is no reading 3 in the journal; 'stumble bench' lists them"},
		{"--job 9", "9"},
		{"--job -1 wire 1=OL", `"-1" is no number of a job`},
		{"--new-job", "--new-job begins a job with its first reading"},
		{"--job 1 --new-job wire 1=OL", "--job and --new-job exclude each other"},
		{"--engine x wire 1=OL", "'stumble bench --engine help' lists the layouts"},
	} {
		t.Run(c.args, func(t *testing.T) {
			o := benchOf(t, path, "", strings.Fields(c.args)...)
			assert.NotEqual(t, statusDone, o.status)
			requireOneLine(t, o, o.status, c.says)
		})
	}
	assert.Empty(t, rows(t, path))
	requireOneLine(t, stepped(t, "bench", "--no-journal", "delete", "3"), statusUsage, "--no-journal leaves nothing to delete")
	requireOneLine(t, stepped(t, "bench", "--no-journal", "--job", "3", "wire", "1=OL"), statusUsage, "--no-journal excludes")
}

func TestBenchWithoutJob(t *testing.T) {
	path := aJournal(t)
	requireOneLine(t, benchOf(t, path, ""), statusFailed, path, "there is no such file", "begin one")
	assert.NoFileExists(t, path, "reading begins none")
	j, _, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	require.NoError(t, j.Close())
	o := benchOf(t, path, "")
	requireDone(t, o)
	assert.Contains(t, o.out, "no job in "+path)
	o = benchOf(t, path, "", "--json")
	requireDone(t, o)
	assert.JSONEq(t, `{"kind":"bench","job":null,"vehicle":null,"sentence":"Nothing was measured by hand yet.","readings":[]}`, o.out)
	requireOneLine(t, benchOf(t, path, "", "wire", "1=OL"), statusFailed, "there is no job in the journal", "--new-job")
	o = benchOf(t, path, "", "wire", "1=OL", "--new-job", "--name", "blue van")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Equal(t, "1 reading saved in job 1, blue van\n", o.errs)
	o = benchOf(t, path, "", "wire", "2=OL", "--new-job")
	assert.Equal(t, "1 reading saved in job 2, vehicle without a VIN\n", o.errs)

	o = stepped(t, "bench", "--no-journal", "charging", "14.1V")
	requireDone(t, o)
	assert.Contains(t, o.out, "14.1 V: good")
}

func TestBenchDeletes(t *testing.T) {
	path := aBench(t)
	require.Equal(t, statusDone, benchOf(t, path, "", "wire", "1=OL", "2=OL", "3=OL").status)
	o := benchOf(t, path, "3\n", "delete", "2")
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "reading 2 of job 1, 2026-11-2")
	assert.Contains(t, o.errs, "wire resistance of cylinder 2, open\nThis deletes it for good.")
	assert.Contains(t, o.errs, "reading 2 is not deleted")
	o = benchOf(t, path, "2\n", "delete", "2")
	assert.Equal(t, statusDone, o.status)
	o = benchOf(t, path, "", "delete", "3", "--yes")
	requireDone(t, o)
	assert.Equal(t, "reading 3 is deleted\n", o.out)
	requireOneLine(t, benchOf(t, path, "", "delete", "1", "--job", "9"), statusFailed, "there is no reading 1 in job 9")
	left := rows(t, path)
	require.Len(t, left, 1)
	assert.Equal(t, int64(1), left[0].ID)
}

// One question after the other: a wrong answer is asked again, an empty one is left out, and what was entered whole is
// saved at once.
func TestBenchAsks(t *testing.T) {
	path := aBench(t)
	o := benchOf(t, path, "12\nx\n60cm\n-4\nOL\n\n\n12.2 kohm\n\n", "wire")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.errs, "CAUTION: Ignition voltage kills")
	assert.Contains(t, o.errs, `  "x" is no number with a unit`)
	assert.Contains(t, o.errs, "cannot be below zero")
	assert.Contains(t, o.errs, "Enter = 60cm again")
	assert.Contains(t, o.errs, "3 readings saved in job 1")
	all := rows(t, path)
	require.Len(t, all, 3)
	assert.Equal(t, []int{1, 2, 4}, []int{all[0].Cylinder, all[1].Cylinder, all[2].Cylinder})
	assert.Contains(t, o.out, "cylinder 4   12.2 kohm at 60 cm: good")

	o = benchOf(t, path, "what\n?\nbattery\n12,6\nspark\nblue\ngood\n", "ask")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.errs, `there is no kind of reading "what"`)
	assert.Contains(t, o.errs, "2 readings saved in job 1")
	assert.Len(t, rows(t, path), 5)

	o = benchOf(t, path, "", "wire", "--json")
	assert.Equal(t, statusDone, o.status)
	assert.Contains(t, o.out, `"kind":"bench"`)
	o = benchOf(t, path, "\n\n\n\n", "coil-primary")
	assert.Equal(t, statusDone, o.status)
	assert.Contains(t, o.errs, "nothing was entered")
	assert.Empty(t, o.out)
}

func TestBenchAsksHowManyCylinders(t *testing.T) {
	o := stumbleTyping(t, "four\n99\n2\n4.8\n5.1\n", "bench", "--no-journal", "plug-resistance")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.errs, `"four" is no number of cylinders: write one of 1 to 16`)
	assert.Contains(t, o.out, "cylinder 2   5.1 kohm: good")
}

func stumbleTyping(t testing.TB, typed string, args ...string) outcome {
	t.Helper()
	var out, errs buffer
	a := program(t.Context(), clock.NewStepped(morning()), &out, &errs)
	a.in = strings.NewReader(typed)
	return outcome{a.run(args), out.String(), errs.String()}
}

// The input's end and Ctrl-C keep what was entered whole, and say so.
func TestBenchBrokenOff(t *testing.T) {
	path := aBench(t)
	o := benchOf(t, path, "12\n60cm\n13\n", "wire")
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "1 reading entered whole is saved: the input ended before the length of the wire of cylinder 2, which is left out")
	assert.Len(t, rows(t, path), 1)

	o = benchOf(t, path, strings.Repeat("9", 5000)+"\n", "wire")
	assert.Equal(t, statusFailed, o.status)
	assert.Contains(t, o.errs, "nothing is saved: that line is too long")

	ctx, stop := context.WithCancelCause(t.Context())
	typed, hand := io.Pipe()
	defer hand.Close()
	var out, errs buffer
	a := program(ctx, clock.NewStepped(morning()), &out, &errs)
	a.in = typed
	ended := make(chan int)
	go func() { ended <- a.run([]string{"bench", "--journal", path, "plug-gap", "--maker", "1.1mm"}) }()
	_, err := io.WriteString(hand, "1.1\n1.4\n")
	require.NoError(t, err)
	require.True(t, errs.await(func(text string) bool { return strings.Contains(text, "Cylinder 3, mm") }))
	stop(errors.New("interrupted"))
	assert.Equal(t, statusFailed, <-ended)
	assert.Contains(t, errs.String(), "2 readings saved in job 1")
	assert.Contains(t, errs.String(), "2 readings entered whole are saved: interrupted")
	assert.Len(t, rows(t, path), 3)
}

// Readings come back in the units they were typed in; those without one as the settings say.
func TestBenchTellsTypedUnits(t *testing.T) {
	path := aBench(t)
	for _, c := range []struct{ args, says string }{
		{"compression 1=160psi 2=158psi", "160 psi is within the usual 131 to 218 psi"},
		{"vacuum 20inHg", "20 inHg is within the usual 16.83 to 21.85 inHg"},
		{"plug-gap 1=0.044in --maker 0.040-0.044in", "0.044 in is within the maker's figure, 0.04 to 0.044 in"},
		{"wire 1=12kohm@2ft 2=OL@2ft", "6 kohm a foot is within the 7 kohm a foot that makers allow"},
		{"port-temperature 1=750F 2=752F 3=600F", "151 °F colder than the middle of the others, 751 °F"},
		{"battery-load 9.3V@50F", "9.3 V is below the 9.4 V of a good battery at 50 °F"},
	} {
		o := benchOf(t, path, "", strings.Fields(c.args)...)
		require.Equal(t, statusDone, o.status, o.errs)
		assert.Contains(t, strings.Join(strings.Fields(o.out), " "), c.says, c.args)
	}
	us := benchOf(t, path, "balance\n", "compression", "1=1200kPa", "--units", "us", "--no-journal")
	assert.NotEqual(t, statusDone, us.status, "a journal is named")
	o := benchOf(t, path, "1200\n\n\n\n", "compression", "--units", "us")
	require.Equal(t, statusDone, o.status, o.errs)
	assert.Contains(t, o.out, "174 psi")
	requireOneLine(t, benchOf(t, path, "", "--units", "old"), statusUsage, `no units "old"`)
}

// States and ranges are readings, too, as a shell hands them over.
func TestBenchTakesStates(t *testing.T) {
	path := aBench(t)
	for _, c := range []struct{ args, says string }{
		{"wire 1=12k@60cm 2=12k..OL@60cm", "12 kohm to open, moving at 60 cm: BAD"},
		{"coil 2=8.1k cold, 14k hot", "It breaks down with heat"},
		{"battery 12.1V key on", "is no battery at rest"},
		{"battery 9.1V cranking", "battery, cables or starter first"},
		{"plug-look 2=wet,cracked", "Cracked insulator"},
	} {
		o := benchOf(t, path, "", strings.Fields(c.args)...)
		require.Equal(t, statusDone, o.status, o.errs)
		said := strings.Join(strings.Fields(o.out), " ")
		assert.Contains(t, said, c.says, c.args)
		for _, word := range []string{"from memory", "no source", "common practice", "judgement"} {
			assert.NotContains(t, said, word)
		}
	}
}
