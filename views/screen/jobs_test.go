package screen

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/gdamore/tcell/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/job"
	"stumble/misfire/journal"
	"stumble/obd/clock"
	"stumble/views"
	"stumble/views/report"
	"stumble/views/viewstest"
)

// openedAt is a time that reads the same wherever the test runs.
func openedAt() time.Time { return time.Date(2026, 3, 14, 9, 26, 53, 0, time.Local) }

// books is a shelf of invented jobs.
type books struct {
	t      *testing.T
	jobs   int
	failed error         // of all that is asked for
	slow   time.Duration // how long a ranking takes
	asked  []string
	closed int // drives that were played and left
}

func (b *books) Jobs() ([]journal.Job, error) {
	all := make([]journal.Job, 0, b.jobs)
	for id := b.jobs; id > 0; id-- {
		all = append(all, b.job(int64(id)))
	}
	return all, b.failed
}

func (b *books) job(id int64) journal.Job {
	made := journal.Job{ID: id, Opened: openedAt().AddDate(0, 0, int(id)), Vehicle: journal.Vehicle{VIN: "LKSCUR30X60000117", Name: "Larkspur Curlew 3.0", Layout: "v6-along-142536"},
		Complaint: "shudders when pulling away warm, never on the first mile", Intakes: 1, Drives: 2, Bench: 1}
	if id%2 == 0 {
		made.Name, made.Vehicle.Name = "coil of cylinder 5", "Larkspur 日本\x1b[2J with a long name"
	}
	return made
}

func (b *books) Drives(number int64) ([]journal.Drive, error) {
	at := openedAt()
	return []journal.Drive{
		{ID: 5, DriveInfo: journal.DriveInfo{Started: at, Name: "as it came"}, State: journal.DriveFinished, Ended: at.Add(9 * time.Minute), Samples: 4210},
		{ID: 6, DriveInfo: journal.DriveInfo{Started: at.Add(time.Hour)}, State: journal.DriveInterrupted, Ended: at.Add(62 * time.Minute), Samples: 310},
	}, b.failed
}

func (b *books) Page(_ context.Context, number int64) (*job.Page, error) {
	b.asked = append(b.asked, fmt.Sprint("page ", number))
	drives, _ := b.Drives(number)
	return &job.Page{Job: b.job(number), Drives: drives, Sentences: map[int64]string{5: "Cylinder 5 misses 31 of 1,000 firings in Drive."},
		Notes: []journal.Note{{ID: 1, At: openedAt(), Text: "coils of cylinders 5 and 3 exchanged"}}}, b.failed
}

func (b *books) Causes(ctx context.Context, number int64) (*report.Causes, error) {
	if b.slow > 0 {
		select {
		case <-time.After(b.slow):
		case <-ctx.Done():
			b.asked = append(b.asked, "given up")
			return nil, ctx.Err()
		}
	}
	return viewstest.Causes(b.t, 0x0305), b.failed
}

func (b *books) Bench(context.Context, int64) (*views.Bench, error) {
	return viewstest.Bench(), b.failed
}

func (b *books) Proof(context.Context, int64) (*report.Comparison, error) {
	return viewstest.Judged(b.t, viewstest.Broken(b.t), viewstest.Cured(b.t, 9000), ""), b.failed
}

func (b *books) Play(drive int64) (Screen, error) {
	b.asked = append(b.asked, fmt.Sprint("play ", drive))
	return &playedBack{NewLive(&script{state: played(b.t, false)}, &turned{}), b}, b.failed
}

type playedBack struct {
	*Live
	books *books
}

func (p *playedBack) Close() { p.books.closed++ }

// come waits for what a reader loads.
func come(t *testing.T, s Screen) Screen {
	t.Helper()
	if r, ok := s.(*reader); ok {
		a := <-r.coming
		r.coming <- a
		require.True(t, r.Look())
		t.Cleanup(r.Close)
	}
	return s
}

// The screens of saved jobs, as they are seen.
func TestJobScreens(t *testing.T) {
	colour := ColourPalette(256)
	shelf := &books{t: t, jobs: 3}
	ctx := t.Context()
	for name, shown := range map[string]Screen{
		"jobs":        NewJobs(ctx, shelf),
		"jobs-none":   NewJobs(ctx, &books{}),
		"jobs-many":   NewJobs(ctx, &books{jobs: 40}),
		"jobs-failed": NewJobs(ctx, &books{failed: errors.New("the journal cannot be read: name another file with --journal")}),
		"job":         newPage(ctx, shelf, 2),
		"job-drives":  newDrives(shelf, "Job 2", 2),
		"job-causes":  newCauses(ctx, shelf, "Job 2", 2),
		"job-bench":   newBench(ctx, shelf, "Job 2", 2),
		"job-proof":   newProof(ctx, shelf, "Job 2", 2),
		"job-failed":  newProof(ctx, &books{t: t, failed: errors.New("job 2 holds 1 drive: a comparison wants one before and one after the repair")}, "Job 2", 2),
		"jobs-help":   newHelp(jobsHelp),
	} {
		come(t, shown)
		if name == "jobs-many" {
			for range 30 {
				assert.Zero(t, shown.Key(Key{Name: Down}))
			}
		}
		for _, size := range [][2]int{{80, 24}, {60, 20}} {
			w, h := size[0], size[1]
			t.Run(fmt.Sprintf("%dx%d-%s", w, h, name), func(t *testing.T) {
				screen := simulate(t, "UTF-8", w, h)
				gl := glyphsFor(screen)
				draw(paperOf(screen, &colour, &gl), shown)
				screen.Show()
				viewstest.RequireGolden(t, fmt.Sprintf("%dx%d-%s.txt", w, h, name), dump(screen, &colour))
			})
		}
	}
}

// leafing is the loop over a shelf under a test's control.
func leafing(t *testing.T, shelf *books) *session {
	shelf.t = t
	screen := &bellScreen{SimulationScreen: tcell.NewSimulationScreen("UTF-8")}
	require.NoError(t, screen.Init())
	screen.SetSize(80, 24)
	ctx, cancel := context.WithCancelCause(t.Context())
	s := &session{script: &script{}, t: t, screen: screen, cancel: cancel, ended: make(chan error, 1)}
	pal := ColourPalette(256)
	opts := Options{Palette: pal, shown: func() {
		s.frames++
		s.text, _, _ = strings.Cut(dump(screen, &pal), "\n"+strings.Repeat("=", 80))
	}}
	go func() { s.ended <- Run(ctx, screen, clock.System{}, NewJobs(ctx, shelf), opts) }()
	t.Cleanup(func() { cancel(nil) })
	s.wait(frame)
	return s
}

// From the list every screen of a job is reached by a key, and left by another.
func TestLeafingThroughAJob(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shelf := &books{jobs: 3}
		s := leafing(t, shelf)
		s.key(tcell.KeyEscape)
		assert.Contains(t, s.text, "Jobs, the newest first", "below it there is nothing")
		s.key(tcell.KeyDown)
		s.key(tcell.KeyEnter)
		assert.Contains(t, s.text, "coils of cylinders 5 and 3 exchanged")
		assert.Equal(t, []string{"page 2"}, shelf.asked, "the second from above")
		for key, words := range map[string]string{"c": "Job 2: causes", "b": "Job 2: bench", "p": "Job 2: proof", "d": "Job 2: drives"} {
			s.press(key)
			s.wait(frame)
			assert.Contains(t, s.text, words)
			s.press("?")
			assert.Contains(t, s.text, "A job is one complaint on one vehicle")
			s.press("y")
			assert.Contains(t, s.text, words)
			s.key(tcell.KeyEscape)
			assert.NotContains(t, s.text, words)
		}
		s.press("d")
		s.key(tcell.KeyDown)
		s.key(tcell.KeyEnter)
		assert.Equal(t, "play 6", shelf.asked[len(shelf.asked)-1])
		assert.Contains(t, s.text, "playback 03:05 of 20:00")
		s.key(tcell.KeyEscape)
		assert.Contains(t, s.text, "Job 2: drives")
		assert.Equal(t, 1, shelf.closed, "the drive left is given back")
		s.key(tcell.KeyEnter)
		s.press("q")
		assert.NoError(t, s.end())
		assert.Equal(t, 2, shelf.closed, "so is one that is shown when the user leaves")
	})
}

// What takes long is waited for beside the loop, and given up when its screen is left.
func TestSlowScreens(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		shelf := &books{jobs: 1, slow: time.Minute}
		s := leafing(t, shelf)
		s.key(tcell.KeyEnter)
		s.press("c")
		assert.Contains(t, s.text, "Counting the job's drives ...")
		s.key(tcell.KeyEscape)
		assert.Equal(t, "given up", shelf.asked[len(shelf.asked)-1])
		s.press("c")
		s.wait(time.Minute + frame)
		assert.Contains(t, s.text, "Spark plug, cylinder 5")
		s.press("q")
		assert.NoError(t, s.end())
	})
}

// A drive that cannot be played says so and leaves the list as it is.
func TestDriveThatCannotBePlayed(t *testing.T) {
	c := newDrives(&books{}, "Job 1", 1).(*chooser)
	c.items[0].open = func() (Screen, error) {
		return nil, errors.New("drive 5 has no samples: there is nothing to play back")
	}
	assert.Zero(t, c.Key(Key{Name: Enter}))
	assert.Equal(t, []string{"drive 5 has no samples: there is nothing to play back"}, c.told(80))
}

// A fault of the program while a text is made is told on its screen.
func TestReaderThatFails(t *testing.T) {
	r := newReader(t.Context(), "text", "...", func(context.Context) (Layout, error) { panic("no such text") })
	come(t, r)
	assert.Contains(t, strings.Join(r.lines(80), " "), "the screen failed: no such text")
	r = newReader(t.Context(), "text", "...", func(context.Context) (Layout, error) {
		return func(io.Writer, int) error { return errors.New("too narrow") }, nil
	})
	come(t, r)
	assert.Equal(t, []string{"too narrow"}, r.lines(80))
}

// Whatever is pressed at whatever size, a list keeps to itself.
func TestAnyKeyOfAList(t *testing.T) {
	pal := MonoPalette()
	for n := range 4 {
		c := NewJobs(t.Context(), &books{jobs: n * n * n}).(*chooser)
		for h := 1; h < 40; h += 3 {
			screen := simulate(t, "UTF-8", 70, h)
			gl := glyphsFor(screen)
			for name := Letter; name <= otherKey; name++ {
				if name != Enter && name != Right {
					c.Key(Key{Name: name, Rune: 'z'})
				}
				draw(paperOf(screen, &pal, &gl), c)
				assert.True(t, c.at == 0 || c.at < len(c.items))
			}
		}
	}
}
