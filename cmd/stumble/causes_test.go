package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/bench"
	"stumble/misfire/journal"
	"stumble/views/wire"
)

// titleCauses is over the page of the causes.
const titleCauses = "What may be behind the misfire"

// causes is ranked causes as scripts read them.
func (s *day) causes(args ...string) wire.Causes {
	s.t.Helper()
	o := s.run("", append([]string{"causes", "--json"}, args...)...)
	requireDone(s.t, o)
	require.Equal(s.t, 1, strings.Count(o.out, "\n"))
	return readCauses(s.t, []byte(o.out))
}

// readCauses reads what of the object the tests look at.
func readCauses(t testing.TB, data []byte) (object wire.Causes) {
	t.Helper()
	var bare struct {
		Kind, Sentence, Ignition, From string
		Notes                          []string
		Ranked                         []struct {
			Cause     string
			Cylinders []int
			Share     float64
		}
		Next *struct{ Test string } `json:"next_test"`
		Done []wire.TestDone        `json:"tests_made"`
	}
	require.NoError(t, json.Unmarshal(data, &bare))
	require.Equal(t, "causes", bare.Kind)
	object.Sentence, object.Notes, object.Ignition, object.Drives, object.Done = bare.Sentence, bare.Notes, wire.Word(bare.Ignition), wire.Word(bare.From), bare.Done
	for _, r := range bare.Ranked {
		object.Ranked = append(object.Ranked, wire.Ranked{Cause: r.Cause, Cylinders: r.Cylinders, Share: wire.Number(r.Share)})
	}
	if bare.Next != nil {
		object.Next = &wire.Test{Test: bare.Next.Test}
	}
	return object
}

// The Wren's job: intake, guided drive, and what may be behind it. The page is as it was read and approved.
func TestCauses(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of driving")
	}
	s := newDay(t)
	requireOneLine(t, s.run("", "causes"), statusFailed, "there is no such file", "begin one with an intake or a drive")
	require.Equal(t, statusDone, s.on("wren", "", "intake").status)

	codes := s.run("", "causes")
	requirePage(t, codes, titleCauses, "By codes and the counts of the last drive, weak. Most likely: ")
	assert.Contains(t, strings.Join(strings.Fields(codes.out), " "), "First find when it misses, with")

	require.Equal(t, statusDone, s.on("wren", "", "loadtest", "--plain", "--yes", "--engine", "i4-1342", "--seed", "3").status)
	page := s.run("", "causes", "1")
	requirePage(t, page, titleCauses, "Most likely: plug wire, cylinder 2")
	golden(t, "causes-wren.txt", page.out)
	assert.Contains(t, page.out, "\n! Spark is tens of thousands of volts")

	found := s.causes()
	assert.Equal(t, "plug_wire", found.Ranked[0].Cause)
	assert.Equal(t, []int{2}, found.Ranked[0].Cylinders)
	assert.Equal(t, wire.Word("shared"), found.Ignition, "the simulated car tells")
	require.NotNil(t, found.Next)
	assert.Equal(t, "wire_ohms", found.Next.Test)
	sum := 0.0
	for _, r := range found.Ranked {
		sum += float64(r.Share)
	}
	assert.InDelta(t, 1, sum, 0.001)

	// It is kept in the job, once for each result.
	s.look(func(j *journal.Journal) {
		verdicts, err := j.Verdicts(1)
		require.NoError(t, err)
		kept := 0
		for _, v := range verdicts {
			if v.Kind == "causes" {
				kept++
				readCauses(t, v.Data)
			}
		}
		assert.Equal(t, 2, kept, "by the codes, then by the drive; asked twice it is the same")

		_, err = j.AddBench(journal.BenchReading{Job: 1, Kind: string(bench.Wire), Cylinder: 2, Quantity: string(bench.Resistance), Value: math.Inf(1), Unit: "kohm"})
		require.NoError(t, err)
	})
	measured := s.causes()
	assert.Equal(t, []string{"wire_ohms"}, []string{measured.Done[0].Test})
	assert.Equal(t, "plug_wire", measured.Ranked[0].Cause)
	assert.Greater(t, float64(measured.Ranked[0].Share), 0.9)

	// What is told of the coils is kept for the next time, and what rules a cause out does.
	told := s.causes("--ignition", "each")
	assert.NotContains(t, told.Sentence, "wire")
	assert.Equal(t, wire.Word("each"), s.causes().Ignition)
	s.causes("--ignition", "shared")

	// The repair: the drives since are left out while they are clean.
	requireDone(t, s.run("", "jobs", "note", "1", "repair: new plug wire on cylinder 2"))
	s.drive("wren-repaired", "6m", "--engine", "i4-1342")
	after := s.causes()
	assert.Equal(t, "plug_wire", after.Ranked[0].Cause)
	assert.Contains(t, strings.Join(after.Notes, "\n"), "they do not miss; 'stumble compare' judges the repair")
}

// An exchange of parts that was compared is a test made, and the drive after it is left out.
func TestCausesKnowASwap(t *testing.T) {
	if testing.Short() {
		t.Skip("minutes of driving")
	}
	s := newDay(t)
	s.drive("wren", "9m", "--engine", "i4-1342")
	s.drive("wren-swapped", "9m", "--engine", "i4-1342")
	swap := s.comparison("1", "2", "--swapped", "wire:1-2")
	brief := swap["causes"].(map[string]any)
	assert.Contains(t, brief["sentence"], "a test has shown it")
	assert.Nil(t, brief["next_test"], "proven")
	found := s.causes()
	assert.Equal(t, "plug_wire", found.Ranked[0].Cause)
	assert.Equal(t, []int{2}, found.Ranked[0].Cylinders)
	assert.Greater(t, float64(found.Ranked[0].Share), 0.95)
	assert.Contains(t, found.Sentence, "a test has shown it")
	assert.Contains(t, string(found.Drives), "drive 1,")
	assert.Contains(t, strings.Join(found.Notes, "\n"), "drive 2 is left out: parts were exchanged before it")
}

// Every end of a drive tells the likeliest and the next test, in lines and in JSON; of a sound car neither.
func TestCausesAtTheEndOfADrive(t *testing.T) {
	plain := stepped(t, "watch", "--port", "sim:fuel-supply", "--speed", "max", "--plain", "--for", "6m")
	requireDone(t, plain)
	assert.Contains(t, plain.out, "\nMost likely: weak fuel supply")
	lines := stepped(t, "watch", "--port", "sim:fuel-supply", "--speed", "max", "--json", "--for", "6m")
	last := lines.out[strings.LastIndex(strings.TrimSuffix(lines.out, "\n"), "\n")+1:]
	var summary struct {
		Kind   string
		Causes struct {
			Basis  string
			Ranked []struct{ Cause string }
			Next   struct{ Test string } `json:"next_test"`
		}
	}
	require.NoError(t, json.Unmarshal([]byte(last), &summary))
	assert.Equal(t, "summary", summary.Kind)
	assert.Equal(t, "counts", summary.Causes.Basis)
	assert.Equal(t, "fuel_supply", summary.Causes.Ranked[0].Cause)
	assert.Len(t, summary.Causes.Ranked, 3)
	assert.NotEmpty(t, summary.Causes.Next.Test)

	sound := stepped(t, "watch", "--port", "sim:healthy", "--speed", "max", "--plain", "--for", "3m")
	assert.NotContains(t, sound.out, "Most likely")
	in := stepped(t, "intake", "--port", "sim:wren", "--speed", "max", "--json")
	var object map[string]any
	require.NoError(t, json.Unmarshal([]byte(in.out), &object))
	assert.Equal(t, "intake", object["kind"])
	assert.Equal(t, "last_driving_cycle", object["causes"].(map[string]any)["basis"])
	none := stepped(t, "intake", "--port", "sim:healthy", "--speed", "max", "--json")
	require.NoError(t, json.Unmarshal([]byte(none.out), &object))
	assert.Nil(t, object["causes"])
}

// Wrong words get one line that says what to do.
func TestCausesRefuses(t *testing.T) {
	s := newDay(t)
	s.look(func(*journal.Journal) {}) // begins it
	for _, c := range []struct {
		args   []string
		status int
		says   []string
	}{
		{[]string{"causes", "first"}, statusUsage, []string{`"first" is no number of a job`, "'stumble jobs' lists them"}},
		{[]string{"causes", "0"}, statusUsage, []string{`"0" is no number of a job`}},
		{[]string{"causes", "1", "2"}, statusUsage, []string{"one argument too many"}},
		{[]string{"causes", "7"}, statusFailed, []string{"job 7"}},
		{[]string{"causes", "--ignition", "both"}, statusUsage, []string{"--ignition", "say each"}},
		{[]string{"causes", "--engine", "w16"}, statusUsage, []string{"no engine layout is called", "--engine help"}},
		{[]string{"causes", "--map", "firing-order"}, statusUsage, []string{"firing order of this engine is not known"}},
		{[]string{"causes", "--drive", "3"}, statusUsage, []string{"no option --drive", "'stumble causes --help'"}},
	} {
		requireOneLine(t, s.run("", c.args...), c.status, c.says...)
	}
	listed := s.run("", "causes", "--engine", "help")
	requireDone(t, listed)
	assert.Contains(t, listed.out, "i4-1342")

	s.look(func(j *journal.Journal) {
		_, err := j.OpenJob(journal.Job{Vehicle: journal.Vehicle{Name: "old van"}, Opened: morning()})
		require.NoError(t, err)
	})
	empty := s.run("", "causes", "1")
	requirePage(t, empty, titleCauses, "Nothing to explain: the job holds no intake and no drive; begin with")
}

// The last line of a drive and 'causes' a moment later say the same, whatever the job holds beside the drive: codes, an
// earlier drive, what the driver reports.
func TestDriveAndCausesAgree(t *testing.T) {
	for _, port := range []string{"wren", "curlew", "rook"} {
		t.Run(port, func(t *testing.T) {
			s := newDay(t)
			require.Equal(t, statusDone, s.on(port, "", "intake").status)
			requireDone(t, s.run("", "jobs", "symptom", "1", "misses under load, and after rain"))
			for _, seed := range []string{"3", "4"} {
				o := s.on(port, "", "loadtest", "--plain", "--yes", "--seed", seed)
				require.Equal(t, statusDone, o.status)
				said := strings.Join(strings.Fields(o.out), " ")
				assert.Contains(t, said, s.causes().Sentence, "drive %s", seed)
				assert.NotContains(t, said, "First find when it misses", "it was just driven")
			}
		})
	}
}

// A symptom is kept, told back as it was understood and shown with the job; a job is closed with its cause; and --learn
// says what the journal taught. What cannot be meant is one clear line.
func TestSymptomsAndClosing(t *testing.T) {
	s := newDay(t)
	require.Equal(t, statusDone, s.on("wren", "", "intake").status)
	heard := s.run("", "jobs", "symptom", "1", "misses", "after", "rain")
	requireDone(t, heard)
	assert.Contains(t, heard.out, "weighed by 'stumble causes': it misses in the wet")
	loud := s.run("", "jobs", "symptom", "1", "the radio is loud")
	requireDone(t, loud)
	assert.Contains(t, loud.out, "no cause is weighed by it; words that are: ")
	assert.Contains(t, s.run("", "jobs", "show", "1").out, "misses after rain")
	assert.Contains(t, s.run("", "causes", "--json").out, "told_wet")

	requireOneLine(t, s.run("", "jobs", "symptom", "9", "wet"), statusFailed, "9")
	requireOneLine(t, s.run("", "jobs", "close", "1"), statusUsage, "say what was behind it", "--cause plug")
	requireOneLine(t, s.run("", "jobs", "close", "1", "--cause", "gremlin"), statusUsage, "gremlin", "'stumble jobs --help' lists them")
	requireOneLine(t, s.run("", "jobs", "close", "1", "--cause", "plug_wire", "--cylinder", "40"), statusFailed, "40")
	closed := s.run("", "jobs", "close", "1", "--cause", "plug_wire", "--cylinder", "2")
	requireDone(t, closed)
	assert.Contains(t, closed.out, "not proven by 'stumble compare'")
	assert.Contains(t, s.run("", "jobs", "show", "1").out, "plug_wire, cylinder 2")
	learned := strings.Join(strings.Fields(s.run("", "causes", "1", "--learn").out), " ")
	assert.Contains(t, strings.ToLower(learned), "nothing is learned yet")
}
