package journal

import (
	"errors"
	"fmt"
	"slices"
	"sync"
	"time"

	"stumble/misfire/gear"
	"stumble/obd"
)

const (
	// saveEvery is how often what was recorded goes to the disk: with the time that takes, nothing waits for more
	// than a second.
	saveEvery = 500 * time.Millisecond
	// retryEvery is how often saving is tried when it fails.
	retryEvery = time.Second
	// blockLength is how much of a drive is packed together. It is written anew with every save until it is full.
	blockLength = 10 * time.Second
)

// Recorder records one drive. Its methods take what they are given into memory and return at once; a goroutine of
// its own saves it. They may be called from several goroutines; samples, exchanges and marks are kept in the order
// they are given.
type Recorder struct {
	journal *Journal
	uid     string
	info    DriveInfo
	job     Job // as it is made should it not be there

	saving sync.Mutex // one save at a time
	lock   *driveLock // guarded by saving; nil while there is none
	wake   chan struct{}
	done   sync.WaitGroup
	zip    zipper // guarded by saving

	mu        sync.Mutex
	id        int64
	sampled   stream
	exchanged stream
	marks     []Mark // not saved yet
	taken     int    // how many of them are being saved
	marked    int    // marks recorded

	now     time.Time // the newest time heard of
	waiting time.Time // when the first was recorded that was not yet handed to the saver; zero when none was
	flushed time.Time // when that was last done
	saved   time.Time // up to here all is saved
	lost    int
	trouble error     // why the last save failed; nil when it did not
	since   time.Time // when that began, in the drive's time
	tried   time.Time // when it failed last
	ended   bool
}

// stream is one of the two tables that a drive fills.
type stream struct {
	table string
	next  int      // number of the next record of the drive
	blk   int      // number of the next block
	now   *block   // being filled; nil before the first record
	wait  []*block // with something that is not saved yet, oldest first
	saved int      // records saved
}

// block is a row of a stream's table, being filled or waiting to be saved.
type block struct {
	row            // what was recorded of it by the last flush: its records, or its data once they are zipped
	records []byte // being added to
	count   int    // how many there are
	last    int64  // when the last of them was received
	saved   int    // how many are on the disk
	taken   bool   // it is being saved
	full    bool   // nothing more comes into it
	zipped  bool   // data is what lies in the file for good
}

// row is what is saved of a block.
type row struct {
	number, first, count int
	begin, end           int64 // when its first and last record were received
	form                 form
	data                 []byte
}

// StartDrive begins to record a drive. When nothing can be saved for now, the drive is recorded in memory, State
// says why, and it is saved from its beginning as soon as that is possible. The error is a job that is not there, or
// a Setup that is not JSON.
func (j *Journal) StartDrive(info DriveInfo) (*Recorder, error) {
	if !jsonOrEmpty(info.Setup) {
		return nil, errNoJSON
	}
	r := &Recorder{
		journal: j, uid: newUID(), info: info, wake: make(chan struct{}, 1),
		job:     Job{Vehicle: info.Vehicle, Name: info.JobName, Opened: info.Started},
		sampled: stream{table: "samples"}, exchanged: stream{table: "exchanges"},
		now: info.Started, saved: info.Started,
	}
	if r.job.Vehicle.VIN == "" && r.job.Vehicle.Name == "" {
		r.job.Vehicle.Name = "vehicle without a name"
	}
	if info.Job != 0 {
		known, err := j.Job(info.Job)
		switch {
		case errors.Is(err, ErrUnknown):
			return nil, err
		case err == nil:
			r.job = known
		}
	}
	j.recording.Lock()
	j.recorders[r] = struct{}{}
	j.recording.Unlock()
	// The state tells of a failure; the first save shows it before the engine is started.
	_ = r.save()
	r.done.Go(func() {
		for range r.wake {
			_ = r.save()
		}
	})
	return r, nil
}

// Exchange records what was said with the adapter.
func (r *Recorder) Exchange(e *obd.Exchange) {
	record(r, &r.exchanged, e, e.Received, appendExchange)
}

// Sample records what an exchange told.
func (r *Recorder) Sample(s *obd.Sample) {
	record(r, &r.sampled, s, s.Received, appendSample)
}

func record[T any](r *Recorder, l *stream, what *T, at time.Time, add func([]byte, int64, *T) ([]byte, error)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.ended {
		return
	}
	if l.due(at) {
		l.seal(true)
		l.open(at)
	}
	records, err := add(l.now.records, l.now.last, what)
	if err != nil {
		r.lose(1, l.next, at, at, &Gap{Kind: GapUnfit, Table: l.table, Why: err.Error()})
	} else {
		l.now.records = records
		l.add(at)
	}
	r.recorded(at)
}

// Mark records a gear that was marked, or, with gear.Unknown, a note.
func (r *Recorder) Mark(at time.Time, g gear.State, text string) {
	kind := MarkNote
	if g != gear.Unknown {
		kind = MarkGear
	}
	r.markOf(kind, at, g, text)
}

// Ask records a gear at rest that a guided test asked for; any other state, that it asks for none any more.
func (r *Recorder) Ask(at time.Time, g gear.State) {
	if g == gear.Unknown {
		g = gear.Moving
	}
	r.markOf(MarkNote, at, g, g.String())
}

// Asks is the gear that a guided test asked for, which a note with a gear tells; false for any other mark.
func (m *Mark) Asks() (gear.State, bool) { return m.Gear, m.Kind == MarkNote && m.Gear != gear.Unknown }

func (r *Recorder) markOf(kind MarkKind, at time.Time, g gear.State, text string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.ended {
		return
	}
	r.mark(Mark{At: at, Until: at, Kind: kind, Gear: g, Text: text, after: r.sampled.next})
	r.recorded(at)
}

func (r *Recorder) mark(m Mark) {
	m.number = r.marked
	r.marked++
	r.marks = append(r.marks, m)
}

// Tick tells the time when there is nothing else to record: call it a few times a second.
func (r *Recorder) Tick(now time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if !r.ended {
		r.advance(now)
	}
}

// State is how the recording stands.
type State struct {
	Saving bool
	Why    error         // why it is not, as one line; nil when it is
	Since  time.Time     // since when it is not, in the drive's time
	Behind time.Duration // how much of the drive is in memory only, 0 when nothing is; above a second the disk is slow, or held by another
	Lost   int           // samples and exchanges that are gone, because memory was full or they were too large
}

// State is how the recording stands now.
func (r *Recorder) State() State {
	r.mu.Lock()
	defer r.mu.Unlock()
	s := State{Saving: r.trouble == nil, Why: r.trouble, Since: r.since, Lost: r.lost}
	if r.behind() {
		s.Behind = max(r.now.Sub(r.saved), 1)
	}
	return s
}

// behind reports whether anything is in memory only.
func (r *Recorder) behind() bool {
	return !r.waiting.IsZero() || len(r.marks) > 0 || r.sampled.behind() || r.exchanged.behind()
}

func (l *stream) behind() bool {
	return slices.ContainsFunc(l.wait, func(b *block) bool { return b.row.count > b.saved })
}

// ID is the drive's number in the journal; 0 as long as nothing could be saved.
func (r *Recorder) ID() int64 {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.id
}

// Finish ends the drive, with the verdict on it (JSON; may be empty), and waits until all is saved. When that fails
// the error says why; what is in memory stays, and Finish may be called again.
func (r *Recorder) Finish(verdict []byte) error {
	if !jsonOrEmpty(verdict) {
		return errNoJSON
	}
	r.end()
	if r.gone() {
		return nil
	}
	if err := r.saveAll(verdict, true); err != nil {
		return r.unsaved(err)
	}
	r.journal.forget(r)
	return nil
}

// gone reports whether all is done already.
func (r *Recorder) gone() bool {
	r.journal.recording.Lock()
	defer r.journal.recording.Unlock()
	_, there := r.journal.recorders[r]
	return !there
}

// abandon saves what there is and leaves the drive unfinished.
func (r *Recorder) abandon() error {
	r.end()
	err := r.saveAll(nil, false)
	r.journal.forget(r)
	if err != nil {
		return r.unsaved(err)
	}
	return nil
}

func (r *Recorder) unsaved(err error) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return fmt.Errorf("the last %v of the drive are not saved: %w", max(r.now.Sub(r.saved), 0).Round(time.Second), err)
}

func (j *Journal) forget(r *Recorder) {
	j.recording.Lock()
	delete(j.recorders, r)
	j.recording.Unlock()
	r.saving.Lock()
	defer r.saving.Unlock()
	if r.lock != nil {
		r.lock.end()
		r.lock = nil
	}
}

// end takes no more and stops the saver.
func (r *Recorder) end() {
	r.mu.Lock()
	again := r.ended
	r.ended = true
	r.flush()
	r.mu.Unlock()
	if !again {
		close(r.wake)
		r.done.Wait()
	}
}

// recorded notes that something was taken in. r.mu is held, as in all below.
func (r *Recorder) recorded(at time.Time) {
	if r.waiting.IsZero() {
		r.waiting = at
	}
	if r.saved.IsZero() {
		r.saved = at
	}
	r.advance(at)
}

// advance hands to the saver what has waited for long enough. A clock that was set back makes all of it due.
func (r *Recorder) advance(now time.Time) {
	back := now.Before(r.now.Add(-time.Second))
	if back || now.After(r.now) {
		r.now = now
	}
	if back {
		r.saved = now
	}
	due := !r.waiting.IsZero() && (back || r.now.Sub(r.waiting) >= saveEvery)
	if due {
		r.flush()
	}
	waited := r.now.Sub(r.tried)
	if retry := r.trouble != nil && (waited >= retryEvery || waited < 0); due && r.trouble == nil || retry {
		select {
		case r.wake <- struct{}{}:
		default: // it is at it
		}
	}
}

// flush makes all that was recorded ready to be saved.
func (r *Recorder) flush() {
	r.sampled.seal(r.ended)
	r.exchanged.seal(r.ended)
	r.waiting, r.flushed = time.Time{}, r.now
	r.bound()
}

// seal takes over what the block being filled holds by now. A full one is saved once more, to be zipped.
func (l *stream) seal(full bool) {
	b := l.now
	if b == nil || b.count == 0 {
		return
	}
	if !b.zipped {
		b.data = b.records[:len(b.records):len(b.records)]
	}
	b.row.count, b.end, b.full = b.count, b.last, full
	if (b.count > b.saved || full && !b.zipped) && (len(l.wait) == 0 || l.wait[len(l.wait)-1] != b) {
		l.wait = append(l.wait, b)
	}
}

// bound keeps what waits within the memory allowed, by giving up the oldest.
func (r *Recorder) bound() {
	for size := r.sampled.size() + r.exchanged.size(); size > r.journal.opts.Memory; {
		l, other := &r.sampled, &r.exchanged
		n := l.oldest()
		if m := other.oldest(); n < 0 || m >= 0 && other.wait[m].begin < l.wait[n].begin {
			l, n = other, m
		}
		if n < 0 {
			return
		}
		lost := l.wait[n]
		l.wait = slices.Delete(l.wait, n, n+1)
		size -= len(lost.data)
		if lost.count == lost.saved {
			continue // it is there, only not as small as it could be
		}
		r.lose(lost.count-lost.saved, lost.first, timeOf(lost.begin), timeOf(lost.last), &Gap{Kind: GapUnsaved, Table: l.table})
	}
}

// oldest is the place of the oldest block that can be given up: neither being filled nor being saved; -1 if none can.
func (l *stream) oldest() int {
	return slices.IndexFunc(l.wait, func(b *block) bool { return b != l.now && !b.taken })
}

// lose counts what cannot be kept, and marks in the drive where it was.
func (r *Recorder) lose(n, after int, from, to time.Time, gap *Gap) {
	text := gap.text()
	r.lost += n
	for i := range r.marks[r.taken:] {
		m := &r.marks[r.taken+i]
		if m.Kind == MarkGap && m.Text == text && !from.Before(m.At) && !from.After(m.Until.Add(time.Second)) {
			m.Until = to // one mark for a gap, however long
			return
		}
	}
	r.mark(Mark{At: from, Until: to, Kind: MarkGap, Text: text, after: after})
}

func (l *stream) size() (n int) {
	for _, b := range l.wait {
		n += len(b.data)
	}
	return n
}

// due reports whether the next record begins a block.
func (l *stream) due(at time.Time) bool {
	if l.now == nil || len(l.now.records) >= fullBlock {
		return true
	}
	length := nanoseconds(at) - l.now.begin
	return length >= int64(blockLength) || length < 0
}

func (l *stream) open(at time.Time) {
	l.now = &block{row: row{number: l.blk, first: l.next, begin: nanoseconds(at), form: formZipped}}
	l.blk++
}

func (l *stream) add(at time.Time) {
	l.next++
	l.now.count++
	l.now.last = nanoseconds(at)
}
