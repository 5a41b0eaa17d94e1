package main

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"stumble/misfire/cause"
	"stumble/misfire/job"
	"stumble/views/say"
)

// symptom keeps what the driver reports.
func (b *jobBook) symptom(id int64, text string) error {
	heard, err := job.TakeSymptom(b.journal, id, b.clock.Now(), text)
	if err != nil {
		return err
	}
	keys, told := cause.StandardBook().Symptoms()
	var words []string
	for _, key := range heard {
		words = append(words, told[slices.Index(keys, key)])
	}
	if len(words) == 0 {
		return b.done("kept in job %d, but no cause is weighed by it; words that are: %s", id, symptomWords())
	}
	return b.done("kept in job %d and weighed by 'stumble causes': %s", id, strings.Join(words, "; "))
}

// symptomWords are words under which each symptom is understood.
func symptomWords() string {
	keys, _ := cause.StandardBook().Symptoms()
	words := make([]string, len(keys))
	for i, key := range keys {
		words[i] = strings.ReplaceAll(string(key), "_", " ")
	}
	return strings.Join(words, ", ")
}

// closeJob keeps what was behind the misfire of a job.
func (b *jobBook) closeJob(id int64, _ string) error {
	if b.opts.cause == "" {
		return usagef("say what was behind it: 'stumble jobs close %d --cause plug --cylinder 5'; 'stumble jobs --help' lists the causes", id)
	}
	closed, err := job.Close(b.journal, id, b.clock.Now(), job.Closing{Cause: b.opts.cause, Cylinder: b.opts.cylinder})
	if wrong := (job.UnknownCauseError{}); errors.As(err, &wrong) {
		return usagef("no cause is called %q; 'stumble jobs --help' lists them", onOneLine(wrong.Cause))
	}
	if err != nil {
		return err
	}
	what := closed.Cause
	if closed.Cylinder > 0 {
		what += fmt.Sprintf(" of cylinder %d", closed.Cylinder)
	}
	if !closed.Proven {
		return b.done("job %d is closed: %s; its repair is not proven by 'stumble compare', so 'stumble causes --learn' leaves it out", id, what)
	}
	return b.done("job %d is closed: %s", id, what)
}

// causesByKey lists the causes that a job can be closed with, for help.
func causesByKey() string {
	line, all := "", "Causes, for close:\n"
	for _, key := range cause.StandardBook().Keys() {
		if len(line)+len(key) >= textWidth-3 {
			all, line = all+"\n "+line, ""
		}
		line += " " + key
	}
	return all + "\n " + line
}

// learnedWords tell what the closed jobs of a journal taught.
func learnedWords(l *job.Learned) (notes []string) {
	const told = 5
	if l.Jobs == 0 {
		return []string{"nothing is learned yet: no job of this journal was closed with its cause after 'stumble compare' proved the repair"}
	}
	var moved []string
	for _, m := range l.Moved[:min(told, len(l.Moved))] {
		moved = append(moved, fmt.Sprintf("%s from %.1f to %.1f %%", m.Name, 100*m.From, 100*m.To))
	}
	notes = append(notes, fmt.Sprintf("learned from %s of this journal, against a table worth 50: before anything is known of a car, %s",
		say.Plural(l.Jobs, "closed job", "closed jobs"), strings.Join(moved, ", ")))
	if l.Ranked > 0 {
		notes = append(notes, fmt.Sprintf("the cause ranked first was right in %d of %s of this journal", l.Right, say.Plural(l.Ranked, "closed job", "closed jobs")))
	}
	return notes
}
