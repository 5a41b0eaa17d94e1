package main

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"stumble/misfire"
	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/say"
)

// missingHere begins what is told of what cannot be read any more.
const missingHere = "missing here: "

// tell prints a notice that is of no moment of a drive.
func (a *app) tell(n job.Notice) { fmt.Fprintln(a.err, noticeWords(n, nil)) }

// noticeWords is what a notice says; empty where it says nothing. j, which may be nil, is the journal it is of.
func noticeWords(n job.Notice, j *journal.Journal) string {
	switch n.Kind {
	case job.LinkLost:
		return "the adapter went away (" + explain(n.Err) + "); seeking it, the drive goes on"
	case job.LinkBack:
		return "the adapter is back"
	case job.CarAsleep:
		return "the car does not answer: ignition off? waiting for it"
	case job.CarAwake:
		return "the car answers again"
	case job.Recording:
		return whereWords(n.Job, n.Drive)
	case job.RecordingAgain:
		return "the drive is saved again, " + whereWords(n.Job, n.Drive)
	case job.NotRecording:
		return "the drive is NOT SAVED: " + troubleWords(n.Err, j)
	case job.EngineKnown:
		return fmt.Sprintf("engine %s, as in earlier drives of this vehicle; --engine names another", n.Layout)
	case job.EngineLeftOut:
		return fmt.Sprintf("the engine %s that this vehicle was last counted by has %d cylinders, but the car counts %d: it is left out", n.Layout, n.Cylinders, n.Counted)
	case job.SamplesUnread:
		return missingHere + n.Err.Error()
	case job.ExchangesUnread:
		return explain(n.Err)
	case job.CarWaited:
		return "waiting for the car: " + explain(n.Err)
	case job.MonitorsUnread:
		return "not answered yet, asked again while the drive runs: " + namesOf(n.Monitors, obd.MonitorName)
	case job.CountersKnown:
		return "counted by the table of counters that worked on this vehicle before; --counters FILE takes another"
	case job.ModulesStrange:
		return "left out, for they answer from no address that OBD knows: " + namesOf(n.Modules, obd.Module.String)
	}
	return ""
}

// namesOf names things in a line.
func namesOf[T any](all []T, name func(T) string) string {
	var names []string
	for _, x := range all {
		names = append(names, name(x))
	}
	return strings.Join(names, ", ")
}

// whereWords is where a drive goes.
func whereWords(number, drive int64) string {
	if number == 0 {
		return fmt.Sprintf("recording to a new job, drive %d", drive)
	}
	return fmt.Sprintf("recording to job %d, drive %d", number, drive)
}

// journalOf is the journal that something is saved in; nil when there is none.
func journalOf(s *job.Saver) *journal.Journal {
	if s == nil {
		return nil
	}
	return s.Journal
}

// troubleWords is why nothing is saved, on one line, without the file's path, which may be long.
func troubleWords(why error, j *journal.Journal) string {
	text := why.Error()
	if j != nil {
		text = strings.TrimPrefix(text, "journal "+j.Path()+": ")
	}
	return strings.Join(strings.Fields(text), " ")
}

// recordingWords is how the recording stands, and the alert where it does not go on. The warning to ease off is left
// above all others.
func recordingWords(r *job.RecordingState, s *misfire.Summary, j *journal.Journal) (words, alert string) {
	switch {
	case !r.On:
		return "not recorded", ""
	case r.Why == nil:
		return whereWords(r.Job, r.Drive), ""
	case s == nil || !s.Verdict.EaseOff:
		alert = "NOT SAVED: " + troubleWords(r.Why, j)
	}
	return "NOT SAVED", alert
}

// deedWords is what tells of a deed.
func deedWords(d *job.Deed) string {
	when := views.Minute(d.At)
	switch {
	case d.Kind == job.CodesCleared:
		return "the clear of " + when
	case d.Kind == job.Swapped && d.By == job.ByComparison:
		return fmt.Sprintf("the exchange of the %s of cylinders %d and %d", plural(d.Part), d.Cylinder, d.Other)
	case d.Kind == job.Swapped:
		return fmt.Sprintf("the exchange of the %s of cylinders %d and %d of %s", plural(d.Part), d.Cylinder, d.Other, when)
	case d.By == job.ByNote:
		return fmt.Sprintf("the note %q of %s", onOneLine(d.Text), when)
	case d.By == job.ByMark:
		return fmt.Sprintf("the mark %q of %s", onOneLine(d.Text), when)
	}
	return fmt.Sprintf("the repair %q of %s", onOneLine(d.Text), when)
}

// plural is several of a part.
func plural(part string) string { return part + "s" }

// ruleWords is how drives were chosen; empty when the user named them.
func ruleWords(c *job.Choice) string {
	switch c.Rule {
	case job.SinceDeed:
		return "the last drive before " + deedWords(&c.Deed) + ", and all drives since"
	case job.FirstAndLast:
		return "the first and the last drive: nobody told of a repair, of an exchange of parts or of a clear between them"
	case job.AsBefore:
		return "those that were last compared"
	}
	return ""
}

// choiceWords is why no drives can be chosen.
func choiceWords(e *job.ChoiceError) string {
	switch {
	case e.Drives < 2:
		return fmt.Sprintf("job %d holds %s: a comparison wants one before and one after; record it with 'stumble watch'", e.Job, say.Plural(e.Drives, "drive", "drives"))
	case e.Before:
		return fmt.Sprintf("job %d holds no drive before %s: name the drives to compare by their numbers", e.Job, deedWords(&e.Deed))
	}
	return fmt.Sprintf("job %d holds no drive since %s: record one with 'stumble watch'", e.Job, deedWords(&e.Deed))
}

// betweenDrives is what parts the drives of a comparison.
func betweenDrives(c *job.Comparison) report.Between {
	switch {
	case c.Swap != nil:
		return report.BetweenSwap
	case c.Untold():
		return report.BetweenNothing
	}
	switch c.Choice.Deed.Kind {
	case job.Repaired:
		return report.BetweenRepair
	case job.CodesCleared:
		return report.BetweenClear
	}
	return report.BetweenNamed
}

// leftWords is which drives were left out of a ranking.
func leftWords(l *job.LeftOut) string {
	switch l.Kind {
	case job.AfterExchange:
		return fmt.Sprintf("drive %d is left out: parts were exchanged before it", l.Drive)
	case job.BeforeRepair:
		return "only the drives since " + deedWords(&l.Repair) + " are looked at: it misses still"
	}
	return "the drives since " + deedWords(&l.Repair) + " are left out: they do not miss; 'stumble compare' judges the repair"
}

// drivesWords names the drives behind a result.
func drivesWords(drives []*job.Counted) string {
	var ids []string
	running := time.Duration(0)
	for _, d := range drives {
		ids = append(ids, fmt.Sprint(d.Stored.ID))
		running += d.Summary.Running
	}
	switch len(ids) {
	case 0:
		return ""
	case 1:
		return fmt.Sprintf("drive %s, engine running %v", ids[0], running.Round(time.Second))
	}
	last := len(ids) - 1
	return fmt.Sprintf("drives %s and %s, engine running %v", strings.Join(ids[:last], ", "), ids[last], running.Round(time.Second))
}

// refusal is what an error of package job says to whoever typed a command; empty for any other error.
func refusal(err error) string {
	var choice *job.ChoiceError
	var none job.NoJobError
	var empty job.NoSamplesError
	var anew *job.AnewError
	var misfit *job.MisfitError
	var reading job.NoReadingError
	switch {
	case errors.As(err, &choice):
		return choiceWords(choice)
	case errors.As(err, &none):
		return none.Error() + ": begin one with 'stumble intake' or 'stumble watch'"
	case errors.As(err, &empty):
		return fmt.Sprintf("%v: there is nothing to play back; 'stumble jobs show %d' lists the drives of its job", empty, empty.Job)
	case errors.As(err, &anew):
		return anew.Error() + ": leave --anew out"
	case errors.As(err, &misfit) && misfit.Mapped > 0:
		return fmt.Sprintf("--map names %d cylinders, the engine has %d; name every cylinder once", misfit.Mapped, misfit.Cylinders)
	case errors.As(err, &misfit):
		return misfit.Error() + "; choose another --engine, or leave it out"
	case errors.As(err, &reading):
		return reading.Error() + "; 'stumble bench' lists them"
	}
	return ""
}
