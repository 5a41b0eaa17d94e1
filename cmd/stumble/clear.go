package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/vehicle"
	"stumble/views"
	"stumble/views/say"
)

const clearAbout = `Clear the trouble codes of every module, after a repair. It erases what the fault was found by, so it is done only with
the ignition on and the engine off, after 'stumble intake' has saved everything in the journal, and when the word CLEAR
is typed. What each module answers, and what is there afterwards, is saved in the same job. It is sent once and never
repeated.

A clear repairs nothing: only driving as before tells whether the fault is gone. 'stumble compare' judges that. With
readiness erased a car may fail an inspection for some days.`

// clearCommand is the command that clears a car's trouble codes.
func clearCommand(a *app) *cobra.Command {
	var w where
	var o recordOptions
	c := &cobra.Command{
		Use:     "clear",
		Short:   "clear trouble codes, after a repair",
		Long:    clearAbout,
		Example: "stumble clear --port /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return clearCodes(a, &w, &o) },
	}
	w.flags(c.Flags())
	o.journal.flags(c.Flags())
	c.Flags().Int64Var(&o.job, "job", 0, "the job of this `NUMBER`; without it the newest of this vehicle")
	return c
}

// clearCodes clears a car's trouble codes.
func clearCodes(a *app, w *where, o *recordOptions) error {
	t, err := a.target(w)
	if err != nil {
		return err
	}
	if t.sim != nil && o.journal.path == "" {
		return usagef("the simulated car is saved only where --journal names a file: name the one that holds its intake")
	}
	return a.withNew(&o.journal, func(j *journal.Journal) error {
		car, err := a.connect(t, nil)
		if err != nil {
			return err
		}
		defer car.Close()
		return (&clearing{app: a, car: car, title: t.setup().Title, place: o.place(), journal: j}).run()
	})
}

// clearing is one clear of one car.
type clearing struct {
	*app
	car     *job.Car
	title   string // what the car is called
	place   job.Place
	journal *journal.Journal
	file    *job.Case
	saved   *journal.IntakeRecord // the evidence
	before  *obd.CodeReport       // as it is in the car now
}

func (c *clearing) run() error {
	if _, err := c.car.Adapter.Standing(c.ctx); err != nil {
		return err
	}
	if err := c.evidence(); err != nil {
		return fmt.Errorf("%w: %w", elm.ErrNoPermission, err)
	}
	c.warn()
	typed, err := c.readLine()
	if err != nil {
		return err
	}
	leave, err := c.car.Adapter.Permit(c.ctx, elm.Conditions{EvidenceSaved: c.saved != nil, Confirmed: strings.TrimSpace(typed)})
	if err != nil {
		return err
	}
	answer, err := c.car.Adapter.Clear(c.ctx, leave)
	if errors.Is(err, elm.ErrNoPermission) {
		return err
	}
	var refused obd.NegativeResponse
	if errors.As(err, &refused) && !errors.Is(err, elm.ErrUncertain) { // all of them did
		return fmt.Errorf("nothing was cleared: %w", err)
	}
	return errors.Join(err, c.look(answer, err == nil))
}

// evidence finds the job and in it an intake that tells of the car as it is now: newer than the last clear, and with
// all the codes that are there.
func (c *clearing) evidence() error {
	vin, _, err := vehicle.ReadVIN(c.ctx, c.car.Adapter, c.car.Caps)
	if err != nil {
		return err
	}
	found, err := c.place.Find(c.journal, c.place.Vehicle(vin, c.title))
	if err != nil {
		return err
	}
	if found.ID == 0 {
		return errors.New("no job of this vehicle is in the journal; save an intake first, with 'stumble intake'")
	}
	if c.file, err = job.Open(c.journal, found.ID, job.Options{}); err != nil {
		return err
	}
	c.saved = c.file.Evidence()
	switch last := c.file.LastClear(); {
	case c.saved != nil:
	case last.IsZero():
		return fmt.Errorf("job %d holds no intake; save one first, with 'stumble intake'", found.ID)
	default:
		return fmt.Errorf("job %d holds no intake since the clear of %s; save one first, with 'stumble intake'", found.ID, views.Minute(last))
	}
	if c.before, err = vehicle.ReadCodes(c.ctx, c.car.Adapter, c.car.Caps); err != nil {
		return err
	}
	if missing := job.Without(job.Erasable(c.before), job.Erasable(c.saved.Codes)); len(missing) > 0 {
		return fmt.Errorf("the car holds %s, which the intake of %s does not; save a new one first, with 'stumble intake'", codeWords(missing), views.Minute(c.saved.At))
	}
	return nil
}

// warn says what will be lost and asks for the word.
func (c *clearing) warn() {
	say := func(label, text string) { writeWrapped(c.out, fmt.Sprintf("  %-17s ", label), text) }
	writeWrapped(c.out, "", "This erases, in every module:")
	say("stored codes", codeWords(job.Codes(c.before, job.StoredCodes)))
	say("pending codes", codeWords(job.Codes(c.before, job.PendingCodes)))
	say("freeze frames", framesInWords(c.before))
	say("readiness", "every monitor that runs once a drive goes back to not complete")
	say("test results", "those of service 06, and with them the misfire counts")
	say("counters", "distance, time and warm-ups since the last clear")
	say("learned values", "fuel trims and idle, on many cars")
	writeWrapped(c.out, "", "These stay:")
	say("permanent codes", codeWords(job.Codes(c.before, job.PermanentCodes)))
	say("the car's own", "VIN, calibrations, counts of how often each monitor ran")
	for i := range c.before.Unread {
		writeWrapped(c.out, "", "Could not be read: "+unreadLine(&c.before.Unread[i])+".")
	}
	writeWrapped(c.out, "", fmt.Sprintf("Saved in job %d: the intake of %s. A clear repairs nothing.", c.file.Job.ID, views.Minute(c.saved.At)))
	fmt.Fprintf(c.err, "Leave the engine off. Type %s to go on: ", elm.ClearWord)
}

// look reads back, saves and tells what is there after the clear. sure is that the car said it had cleared.
func (c *clearing) look(answer elm.Answer, sure bool) error {
	after, err := vehicle.ReadCodes(c.ctx, c.car.Adapter, c.car.Caps)
	if err != nil {
		after = &obd.CodeReport{Unread: []obd.Unread{{What: obd.UnreadLists, Why: explain(err)}}}
	}
	record := job.Cleared{Cleared: job.Erasable(c.before), Back: job.Erasable(after), Stays: job.Codes(after, job.PermanentCodes), Sure: sure}
	unsaved := c.save(after, &record)
	c.tell(answer, after, &record)
	if unsaved == nil {
		writeWrapped(c.out, "", fmt.Sprintf("Saved in job %d. Next: drive as when it missed, with 'stumble watch'; then 'stumble compare --job %d'.", c.file.Job.ID, c.file.Job.ID))
	}
	return errors.Join(err, unsaved)
}

// save puts the clear and what was read back into the job.
func (c *clearing) save(after *obd.CodeReport, record *job.Cleared) error {
	if err := c.file.SaveClear(c.clock.Now(), record, after, clearSentence(record)); err != nil {
		return fmt.Errorf("what was cleared and what is there now is NOT SAVED: %w", err)
	}
	return nil
}

// clearSentence is a clear in words, for the job's page.
func clearSentence(r *job.Cleared) string {
	text := "codes cleared: "
	if !r.Sure {
		text = "codes perhaps cleared: "
	}
	text += codeWords(r.Cleared)
	if len(r.Back) > 0 {
		text += "; back at once: " + codeWords(r.Back)
	}
	if len(r.Stays) > 0 {
		text += "; permanent: " + codeWords(r.Stays)
	}
	return text
}

// tell prints what became of it.
func (c *clearing) tell(answer elm.Answer, after *obd.CodeReport, record *job.Cleared) {
	say := func(text string) { writeWrapped(c.out, "", text) }
	fmt.Fprintln(c.out)
	if record.Sure {
		say("Cleared by " + moduleWords(answer.Messages) + ".")
	}
	for _, n := range answer.Negatives {
		say(explain(n) + ".")
	}
	gone := job.Without(record.Cleared, record.Back)
	kept, fresh := job.Without(record.Cleared, gone), job.Without(record.Back, record.Cleared)
	if len(after.Unread) == 0 {
		say("Gone: " + codeWords(gone) + ".")
	}
	if len(kept) > 0 {
		say("Back at once, or never gone: " + codeWords(kept) + ". The car sees the fault now, engine off.")
	}
	if len(fresh) > 0 {
		say("New: " + codeWords(fresh) + ".")
	}
	if len(record.Stays) > 0 {
		say("Permanent, and still there: " + codeWords(record.Stays) + ". Only the car itself takes it away, once it has verified the repair.")
	}
	for i := range after.Unread {
		say("Could not be read back: " + unreadLine(&after.Unread[i]) + ".")
	}
}

// unreadLine is what could not be read, on one line.
func unreadLine(u *obd.Unread) string { return onOneLine(say.English().Unread(u)) }

func moduleWords(messages []obd.Message) string {
	words := make([]string, len(messages))
	for i, m := range messages {
		words[i] = m.Module.String()
	}
	return strings.Join(words, ", ")
}

func codeWords(codes []obd.Code) string {
	if len(codes) == 0 {
		return "none"
	}
	words := make([]string, len(codes))
	for i, code := range codes {
		words[i] = code.String()
	}
	return strings.Join(words, ", ")
}

func framesInWords(r *obd.CodeReport) string {
	var codes []obd.Code
	for _, f := range r.Frames {
		codes = append(codes, f.Code)
	}
	return codeWords(codes)
}
