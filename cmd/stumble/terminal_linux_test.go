package main

import (
	"bytes"
	"fmt"
	"io"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"unicode/utf8"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
)

// These tests run the program as it is built, on a pseudo-terminal.

// built is the program, built once for all tests.
var built = sync.OnceValues(func() (string, error) {
	path := filepath.Join(scratch, "stumble")
	out, err := exec.Command("go", "build", "-o", path, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return path, nil
})

// onTerminal is the program on a terminal of its own.
type onTerminal struct {
	t        *testing.T
	cmd      *exec.Cmd
	far      *os.File // what the person at the terminal sees and types
	near     *os.File // held open: what the program wrote is not lost when it ends, and its settings can be read
	before   *unix.Termios
	screen   *shown
	reading  sync.WaitGroup
	finished chan error
}

// startOnTerminal starts the program on a terminal of 80 x 24.
func startOnTerminal(t *testing.T, env []string, args ...string) *onTerminal {
	t.Helper()
	path, err := built()
	require.NoError(t, err)
	far, near, err := pty.Open()
	require.NoError(t, err)
	require.NoError(t, pty.Setsize(far, &pty.Winsize{Rows: 24, Cols: 80}))
	s := &onTerminal{t: t, far: far, near: near, screen: newShown(), finished: make(chan error, 1)}
	s.before = s.settings()
	s.cmd = exec.Command(path, args...)
	s.cmd.Env = append([]string{"TERM=xterm-256color", "LANG=C.UTF-8", "HOME=" + t.TempDir()}, env...)
	s.cmd.Stdin, s.cmd.Stdout, s.cmd.Stderr = near, near, near
	s.cmd.SysProcAttr = &syscall.SysProcAttr{Setsid: true, Setctty: true}
	require.NoError(t, s.cmd.Start())
	s.reading.Go(func() { _, _ = io.Copy(s.screen, far) }) // ends, with an error, when nobody has the terminal open
	go func() {
		s.finished <- s.cmd.Wait()
		s.screen.end()
	}()
	t.Cleanup(func() {
		_ = s.cmd.Process.Kill()
		near.Close()
		s.reading.Wait()
		far.Close()
	})
	return s
}

func (s *onTerminal) settings() *unix.Termios {
	s.t.Helper()
	found, err := unix.IoctlGetTermios(int(s.near.Fd()), unix.TCGETS)
	require.NoError(s.t, err)
	return found
}

func (s *onTerminal) press(keys string) {
	s.t.Helper()
	_, err := io.WriteString(s.far, keys)
	require.NoError(s.t, err)
}

// requireLeft holds the program to having ended with a status and left the terminal as it found it.
func (s *onTerminal) requireLeft(status int) {
	s.t.Helper()
	out := s.end()
	require.Equal(s.t, status, s.cmd.ProcessState.ExitCode(), "the terminal: %q", out)
	for on, off := range map[string]string{
		"\x1b[?1049h": "\x1b[?1049l", // the other page of the terminal
		"\x1b[?25l":   "\x1b[?25h",   // the cursor hidden
	} {
		assert.Greater(s.t, strings.LastIndex(out, off), strings.LastIndex(out, on), "%q is taken back", on)
	}
}

// end waits for the program's end and for the last it wrote, and looks that the terminal's settings are as before.
func (s *onTerminal) end() (out string) {
	s.t.Helper()
	<-s.finished
	assert.Equal(s.t, s.before, s.settings(), "the terminal's settings")
	s.near.Close()
	s.reading.Wait()
	return s.screen.text()
}

// afterScreen is what was printed once the screen was gone.
func (s *onTerminal) afterScreen() string {
	_, after, _ := strings.Cut(s.screen.text(), "\x1b[?1049l")
	return regexp.MustCompile(`\x1b\[[0-9;?]*[a-zA-Z]|\x1b[()=>][A-Z0-9]?`).ReplaceAllString(after, "")
}

// shown is what a terminal shows: its cells, and all that was ever written to it.
type shown struct {
	mu       sync.Mutex
	changed  *sync.Cond
	all      bytes.Buffer
	rest     []byte // an escape sequence, or a character, of which the end is still to come
	cells    map[[2]int]rune
	row, col int
	ended    bool
}

func newShown() *shown {
	s := &shown{cells: make(map[[2]int]rune)}
	s.changed = sync.NewCond(&s.mu)
	return s
}

func (s *shown) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.all.Write(p)
	s.rest = append(s.rest, p...)
	for len(s.rest) > 0 {
		n := s.take(s.rest)
		if n == 0 {
			break
		}
		s.rest = s.rest[n:]
	}
	s.changed.Broadcast()
	return len(p), nil
}

// sequences are what the screen library writes beside text: control sequences (ECMA-48), and the choice of a
// character set or keypad.
func sequences() *regexp.Regexp {
	return regexp.MustCompile(`^\x1b(?:\[([0-9;?>]*)[ -/]*([@-~])|\][^\x07\x1b]*(?:\x07|\x1b\\)|[()][A-Z0-9]|[=>78])`)
}

// take carries out the first thing in p and returns its length, 0 when it is not complete.
func (s *shown) take(p []byte) int {
	switch {
	case p[0] == 0x1b:
		m := sequences().FindSubmatch(p)
		if m == nil {
			return 0
		}
		s.control(string(m[1]), string(m[2]))
		return len(m[0])
	case p[0] == '\r':
		s.col = 0
		return 1
	case p[0] == '\n':
		s.row++
		return 1
	case p[0] < ' ':
		return 1
	case !utf8.FullRune(p):
		return 0
	}
	r, n := utf8.DecodeRune(p)
	s.cells[[2]int{s.row, s.col}] = r
	s.col++
	return n
}

// control moves the place to write to, or clears the screen. The rest is of no interest here.
func (s *shown) control(arguments, kind string) {
	switch kind {
	case "H":
		s.row, s.col = 1, 1
		_, _ = fmt.Sscanf(arguments, "%d;%d", &s.row, &s.col)
		s.row, s.col = s.row-1, s.col-1
	case "J":
		clear(s.cells)
	case "K":
		for c := s.col; c < 200; c++ {
			delete(s.cells, [2]int{s.row, c})
		}
	}
}

// screen is what can be read, a line a row.
func (s *shown) screen() string {
	var b strings.Builder
	for row := range 60 {
		var line strings.Builder
		for col := range 200 {
			r := s.cells[[2]int{row, col}]
			if r == 0 {
				r = ' '
			}
			line.WriteRune(r)
		}
		b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
	}
	return strings.TrimRight(b.String(), "\n") + "\n"
}

// text is all that was written, escape sequences included.
func (s *shown) text() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.all.String()
}

// end says that the program has ended.
func (s *shown) end() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended = true
	s.changed.Broadcast()
}

// find waits until words stand on the screen, and is false when the program ends without.
func (s *shown) find(words string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	for !strings.Contains(s.screen(), words) {
		if s.ended {
			return false
		}
		s.changed.Wait()
	}
	return true
}

// await waits for words that must come.
func (s *onTerminal) await(words string) {
	s.t.Helper()
	require.True(s.t, s.screen.find(words), "%q does not come; the terminal: %q", words, s.screen.text())
}

func watchOnTerminal(t *testing.T, env ...string) *onTerminal {
	return startOnTerminal(t, env, "watch", "--port", "sim:no-gear", "--speed", "20")
}

// onTheScreen is at the foot of the screen as long as it is up.
const onTheScreen = "q quit"

// counterRead is on the screen once a counter was read: there is a table to print from then on.
const counterRead = "s old"

func TestScreenOnATerminal(t *testing.T) {
	s := watchOnTerminal(t)
	s.await("misses per 1,000 firings")
	s.await(onTheScreen)
	assert.NotEqual(t, s.before, s.settings(), "the keys come one by one")
	s.await("P/N, inferred")
	s.press("d")
	s.await("D, marked")
	s.press("p")
	s.await("P/N, marked")
	s.press("?")
	s.await("Ignition voltage can kill")
	s.press("x")
	s.await(onTheScreen)
	s.press("q")
	s.requireLeft(statusDone)
	assert.Contains(t, s.afterScreen(), "Misses per 1,000 firings.", "the summary stays on the terminal")
}

func TestScreenResizes(t *testing.T) {
	s := watchOnTerminal(t)
	s.await(onTheScreen)
	require.NoError(t, pty.Setsize(s.far, &pty.Winsize{Rows: 50, Cols: 160}))
	s.await("whole drive") // there is room for that column now
	require.NoError(t, pty.Setsize(s.far, &pty.Winsize{Rows: 5, Cols: 40}))
	s.await("60") // too small, and how large it must be
	require.NoError(t, pty.Setsize(s.far, &pty.Winsize{Rows: 24, Cols: 80}))
	s.await(onTheScreen)
	s.press("q")
	s.requireLeft(statusDone)
}

func TestScreenGivesTheTerminalBack(t *testing.T) {
	for name, leave := range map[string]func(*onTerminal){
		"q":       func(s *onTerminal) { s.press("q") },
		"Ctrl-C":  func(s *onTerminal) { s.press("\x03") },
		"SIGTERM": func(s *onTerminal) { require.NoError(t, s.cmd.Process.Signal(syscall.SIGTERM)) },
		"SIGINT":  func(s *onTerminal) { require.NoError(t, s.cmd.Process.Signal(syscall.SIGINT)) },
		"SIGHUP":  func(s *onTerminal) { require.NoError(t, s.cmd.Process.Signal(syscall.SIGHUP)) },
	} {
		t.Run(name, func(t *testing.T) {
			s := watchOnTerminal(t)
			s.await(counterRead)
			leave(s)
			s.requireLeft(statusDone)
			assert.Contains(t, s.afterScreen(), "Misses per 1,000 firings.")
		})
	}
}

// An adapter that fails for good while the screen is up ends the drive: the terminal comes back, what was counted is
// printed, and then why.
func TestScreenThatFails(t *testing.T) {
	s := startOnTerminal(t, nil, "watch", "--no-journal", "--port", failing(t))
	s.requireLeft(statusFailed)
	after := s.afterScreen()
	assert.Contains(t, after, "\r\nstumble: watch: the car offers no live data to watch")
	assert.Equal(t, 2, strings.Count(after, "\r\n"), "what is known, and why it ended: %q", after)
}

// failing is an adapter whose car turns out to have nothing to watch.
func failing(t *testing.T) string {
	return answers(t, faithful(func(line string, w io.Writer) {
		if strings.HasPrefix(line, "0100") {
			io.WriteString(w, "7E8 06 41 00 00 00 00 00\r\r>")
			return
		}
		io.WriteString(w, "NO DATA\r\r>")
	}))
}

func TestScreenWithoutColour(t *testing.T) {
	colour := regexp.MustCompile(`\x1b\[[0-9;]*(3[0-7]|38;[25];[0-9;]+|9[0-7]|4[0-7]|48;[25];[0-9;]+)m`)
	text := func(env ...string) string {
		s := startOnTerminal(t, env, "watch", "--port", "sim:dead-cylinder", "--speed", "60")
		s.await("Cylinder 4 does not fire") // then its cell stands out, in the accent where there is colour
		s.press("q")
		s.requireLeft(statusDone)
		return s.screen.text()
	}
	assert.Regexp(t, colour, text(), "in colour when nobody objects")
	assert.NotRegexp(t, colour, text("NO_COLOR=1"))
}

// Where no screen can be shown the program says what to do, before it looks for a car.
func TestTerminalThatCannot(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer listener.Close()
	for _, term := range []string{"TERM=", "TERM=no-such-terminal"} {
		s := startOnTerminal(t, []string{term}, "watch", "--port", "tcp://"+listener.Addr().String())
		out := s.end()
		assert.Equal(t, statusFailed, s.cmd.ProcessState.ExitCode())
		assert.Regexp(t, `^stumble: watch: no screen on this terminal .*--plain.*\r\n$`, out)
	}
}

// The program alone, on a terminal, lists the jobs, also before there is any; with its output elsewhere it lists its commands.
func TestNoCommandOnATerminal(t *testing.T) {
	s := startOnTerminal(t, nil)
	s.await("No job is saved yet")
	s.press("?")
	s.await("A job is one complaint on one vehicle")
	s.press("x")
	s.await(onTheScreen)
	s.press("q")
	s.requireLeft(statusDone)
}
