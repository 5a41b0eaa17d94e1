package say

import "stumble/misfire/journal"

// JournalNotice is what the user must be told about the journal, a line.
func (w Words) JournalNotice(n *journal.Notice) string {
	switch n.Kind {
	case journal.NoticeInterrupted:
		return w.interrupted(n)
	case journal.NoticeSetAside:
		return w.tell("journal-set-aside", n.Path, n.Aside, w.salvaged(n))
	}
	return n.Err.Error()
}

// interrupted tells what is saved of a drive that was cut off.
func (w Words) interrupted(n *journal.Notice) string {
	drive := w.tell("drive-of-job", n.Drive, n.Job)
	if n.Vehicle != "" {
		drive = w.tell("drive-of-vehicle", n.Drive, n.Job, n.Vehicle)
	}
	if n.Samples+n.Exchanges == 0 {
		return w.tell("interrupted-bare", drive)
	}
	return w.tell("interrupted-after", drive, n.Length, n.Samples, n.Exchanges)
}

// salvaged tells what could be read of a damaged journal.
func (w Words) salvaged(n *journal.Notice) string {
	switch {
	case n.Rows == 0:
		return w.tell("salvaged-nothing")
	case n.Bad > 0:
		return w.tell("salvaged-most", n.Jobs, n.Drives, n.Bad)
	}
	return w.tell("salvaged-all", n.Jobs, n.Drives)
}

// Imported tells what became of a job that was taken in.
func (w Words) Imported(i journal.Imported) string {
	switch {
	case i.NewJob:
		return w.tell("imported-new", i.Job, i.Added)
	case i.Added == 0:
		return w.tell("imported-nothing", i.Job)
	}
	return w.tell("imported-more", i.Job, i.Added, i.Known)
}
