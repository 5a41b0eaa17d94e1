// Package job is the application: it opens a job of the journal, counts its drives, chooses which of them stand
// before and after a repair, compares them, judges exchanged parts, ranks causes and gathers what a report is made
// from; and it drives: counts a car that is connected, saves what is seen, and finds the job that it belongs to.
//
// It decides and counts; it parses no options, prints nothing and knows no terminal. What the user must be told
// leaves it as typed values, which whoever shows them words: a Notice while a drive goes on, a Rule and a Repair for
// how drives were chosen, a LeftOut for drives that were passed over, errors of a type of their own where there is
// something to decide.
//
// # A drive
//
// A Drive is counted from a Source, of which there are four, and by nothing else:
//
//	Car       a connected car, polled
//	Stored    a drive of the journal, as its samples were saved
//	Anew      the same, decoded anew from its raw exchanges
//	Playback  one of these two, at the pace and from the place that somebody asks for
//
// Each gives Events in order of time: samples, marks, and what became of the link. The same Drive counts them by the
// same tally, so that a drive that is looked at tomorrow gives today's numbers. A Drive belongs to the goroutine that
// runs it; its keys (Mark, Note, Skip, Repeat, Stop, Confirm) may be pressed from any other. They wait in a queue
// that has no end and are obeyed before the next sample: none is ever dropped.
//
// # A job
//
// Open reads a job and Case holds it. Its drives are counted when they are first asked for. A comparison counts its own
// drives, both sides at once, for it follows the car's own cycles from where the fault was first seen; a report counts
// each drive once:
//
//	b, err := job.Open(j, 0, job.Options{}) // the newest
//	found, err := b.Compare(ctx, job.Question{})
//	fmt.Println(found.Result.Outcome)
//
// Compare, Rank and Report are methods of the Case; Compare is a function, too, for drives of several jobs.
//
// # What is saved
//
// A Place says which job something belongs to, a Saver saves it. A Saver never holds a drive up: where nothing can be
// saved it says so and the drive goes on. A nil Saver saves nothing, and is asked to.
//
// Time comes with samples, or from the clock that a connected car was given with its dialogue; nothing here asks the
// hour.
package job
