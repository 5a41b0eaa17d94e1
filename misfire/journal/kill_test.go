package journal_test

import (
	"bufio"
	"context"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"stumble/misfire/journal"
	"stumble/obd/clock"
)

var (
	kills = flag.Int("kills", 20, "programs killed in the middle of a drive")
	// -pace lets the killed drives run in real time, and holds them to the one second that may be lost:
	//
	//	go test ./misfire/journal -run Killed -kills 100 -pace -v
	pace = flag.Bool("pace", false, "killed drives run in real time")
)

// victim and victimPaced in the environment make the test binary record a drive until it is killed.
const (
	victim      = "JOURNAL_TEST_VICTIM"
	victimPaced = "JOURNAL_TEST_PACED"
)

func TestMain(m *testing.M) {
	if path := os.Getenv(victim); path != "" {
		if err := recordUntilKilled(path, os.Getenv(victimPaced) != ""); err != nil {
			fmt.Fprintln(os.Stderr, err)
		}
		os.Exit(1)
	}
	goleak.VerifyTestMain(m)
}

// recordUntilKilled records a drive without end. After each exchange it prints how many there were, the drive's time
// and up to when the recorder says that all is saved.
func recordUntilKilled(path string, paced bool) error {
	j, _, err := journal.Open(path, journal.Options{})
	if err != nil {
		return err
	}
	c := newCar(1)
	r, err := j.StartDrive(journal.DriveInfo{Vehicle: journal.Vehicle{Name: "Larkspur Wren"}, Started: morning})
	if err != nil {
		return err
	}
	clk := clock.System{}
	began := clk.Now()
	out := bufio.NewWriterSize(os.Stdout, 64)
	for n := 1; ; n++ {
		e, s := c.next()
		if ahead := c.now.Sub(morning) - clk.Now().Sub(began); paced && ahead > 0 {
			<-clk.After(ahead)
		}
		r.Exchange(e)
		r.Sample(s)
		if _, err := fmt.Fprintln(out, n, c.now.UnixNano(), c.now.Add(-r.State().Behind).UnixNano()); err != nil {
			return err
		}
		if err := out.Flush(); err != nil {
			return err
		}
	}
}

func TestKilledDriveIsThereButForItsLastSecond(t *testing.T) {
	atOnce := 1
	if *pace {
		atOnce = 10
	}
	worst := make(chan time.Duration, *kills)
	t.Run("kills", func(t *testing.T) {
		slots := make(chan struct{}, atOnce)
		for n := range *kills {
			t.Run(fmt.Sprint(n), func(t *testing.T) {
				if *pace {
					t.Parallel()
				}
				slots <- struct{}{}
				defer func() { <-slots }()
				worst <- killOne(t, uint64(n))
			})
		}
	})
	close(worst)
	var most time.Duration
	for lost := range worst {
		most = max(most, lost)
	}
	if *pace { // else the drive's time runs faster than any disk
		t.Logf("%d kills; the most of a drive that was lost: %v", *kills, most)
		assert.LessOrEqual(t, most, time.Second)
	}
}

// killOne kills a program in the middle of a drive and returns how much of the drive is gone.
func killOne(t *testing.T, seed uint64) time.Duration {
	path := filepath.Join(t.TempDir(), "journal.db")
	program := exec.CommandContext(context.Background(), os.Args[0], "-test.run=^$")
	program.Env = append(os.Environ(), victim+"="+path)
	if *pace {
		program.Env = append(program.Env, victimPaced+"=1")
	}
	program.Stderr = os.Stderr
	said, err := program.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, program.Start())
	lines := bufio.NewScanner(said)
	var recorded int
	var at, saved int64
	upTo := 3000
	if *pace {
		upTo = 200
	}
	most := 1 + rand.New(rand.NewPCG(seed, 3)).IntN(upTo)
	for lines.Scan() {
		_, err := fmt.Sscan(lines.Text(), &recorded, &at, &saved)
		require.NoError(t, err)
		if recorded == most {
			require.NoError(t, program.Process.Kill())
		}
	}
	require.GreaterOrEqual(t, recorded, most)
	require.Error(t, program.Wait(), "it was killed")

	j, notices := open(t, path)
	require.Len(t, notices, 1)
	assert.Equal(t, journal.NoticeInterrupted, notices[0].Kind)
	d, err := j.Drive(notices[0].Drive)
	require.NoError(t, err)
	assert.Equal(t, journal.DriveInterrupted, d.State)
	assert.GreaterOrEqual(t, d.Ended.UnixNano(), saved, "what was said to be saved is saved")
	samples, _ := played(t, j, d.ID)
	require.Len(t, samples, d.Samples)
	c := newCar(1)
	for i := range samples {
		_, want := c.next()
		require.Equal(t, want.Clone(), samples[i])
	}
	assert.Len(t, exchanged(t, j, d.ID), d.Exchanges)
	sound(t, path)
	again, notices, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	assert.Empty(t, notices, "it is said once")
	require.NoError(t, again.Close())
	return time.Duration(at - d.Ended.UnixNano())
}
