package main

import (
	"context"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/term"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// hurried shortens what the program waits for in vain: ten minutes of its patience are a second.
func hurried() clock.Clock { return clock.NewScaled(600) }

// brisk does so where answers are waited for that do come, and leaves a busy computer time to give them.
func brisk() clock.Clock { return clock.NewScaled(20) }

// readers are the commands that need a car.
func readers() [][]string {
	return [][]string{{"codes"}, {"intake", "--json"}, {"watch", "--plain"}, {"watch", "--json", "--for", "30s"}}
}

// requireFails holds every command that needs a car to failing in the same way at a port.
func requireFails(t *testing.T, port string, says ...string) {
	t.Helper()
	for _, command := range readers() {
		o := stumbleAt(t.Context(), hurried(), append(command, "--port", port)...)
		requireOneLine(t, o, statusFailed, append(says, "stumble: "+command[0]+": ")...)
	}
}

func TestPathsThatAreNoPort(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "notes.txt")
	require.NoError(t, os.WriteFile(file, []byte("ATZ\r>"), 0o600))
	requireFails(t, filepath.Join(dir, "ttyUSB0"), "no such port", "run 'stumble ports'")
	requireFails(t, file, "not a serial port", "such as /dev/ttyUSB0")
	requireFails(t, dir, "not a serial port", "such as /dev/ttyUSB0")
	requireFails(t, os.DevNull, "not a serial port", "such as /dev/ttyUSB0")
}

func TestPortInUse(t *testing.T) {
	if os.Geteuid() == 0 {
		t.Skip("the system lets the superuser open a port that is in use")
	}
	path, _ := openPort(t)
	l, err := link.Serial(path, 38400, clock.System{})
	require.NoError(t, err)
	defer l.Close()
	requireFails(t, path, "another program has it open", "close the other program")
}

// openPort is a pseudo serial port and the end that an adapter would be at. It is raw, so that nothing echoes.
func openPort(t *testing.T) (path string, far *os.File) {
	t.Helper()
	far, near, err := pty.Open()
	require.NoError(t, err)
	_, err = term.MakeRaw(int(near.Fd()))
	require.NoError(t, err)
	t.Cleanup(func() {
		far.Close()
		near.Close()
	})
	return near.Name(), far
}

func TestSilentPort(t *testing.T) {
	path, _ := openPort(t)
	requireFails(t, path, "no adapter answers on "+path+" (at any speed: no answer from the adapter); check that it is in the diagnostic socket")

	o := stumbleAt(t.Context(), hurried(), "ports", path)
	requireDone(t, o)
	assert.Equal(t, path+"  no adapter: at any speed: no answer from the adapter; "+
		"plug it into the diagnostic socket with the ignition on, or this port is something else\n", o.out)
	o = stumbleAt(t.Context(), hurried(), "ports", "--json", path)
	requireDone(t, o)
	assert.Contains(t, o.out, `"kind":"port"`)
	assert.Contains(t, o.out, `"adapter":false`)
	assert.Equal(t, 1, strings.Count(o.out, "\n"))
}

// A port that talks of other things, as a satellite receiver's does, is told from an adapter.
func TestPortThatBabbles(t *testing.T) {
	var talking sync.WaitGroup
	t.Cleanup(talking.Wait) // after the port is closed
	path, far := openPort(t)
	talking.Go(func() {
		speak(far, func(_ string, w io.Writer) { io.WriteString(w, "$GPRMC,083000.00,V,,,,,,,251126,,,N*7F\r\n") })
	})
	requireFails(t, path, "no adapter answers on "+path)
}

// answers is an adapter's place on the network where something else answers every line in its own way.
func answers(t *testing.T, answer func(line string, w io.Writer)) (port string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			stop := context.AfterFunc(ctx, func() { conn.Close() })
			speak(conn, answer)
			stop()
			conn.Close()
		}
	}()
	t.Cleanup(func() {
		cancel()
		listener.Close()
		<-done
	})
	return "tcp://" + listener.Addr().String()
}

// speak answers every line until the connection ends.
func speak(conn io.ReadWriter, answer func(line string, w io.Writer)) {
	var line []byte
	var buf [256]byte
	for {
		n, err := conn.Read(buf[:])
		if err != nil {
			return
		}
		for _, c := range buf[:n] {
			if c != '\r' {
				line = append(line, c)
				continue
			}
			answer(string(line), conn)
			line = line[:0]
		}
	}
}

func TestRefusedConnection(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := listener.Addr().String()
	require.NoError(t, listener.Close())
	requireFails(t, "tcp://"+address, "open "+address+": connection refused", "check the port number")
}

func TestStrangersOnTheNetwork(t *testing.T) {
	web := httptest.NewServer(http.NotFoundHandler())
	t.Cleanup(web.Close)
	for name, c := range map[string]struct {
		port string
		says string
	}{
		"silent": {answers(t, func(string, io.Writer) {}), "takes the connection and says nothing; another program may be using the adapter"},
		"rubbish": {answers(t, func(_ string, w io.Writer) { io.WriteString(w, "\x81\x02\xfe~~\r>") }),
			"no ELM327-compatible adapter; choose another port"},
		"echo": {answers(t, func(line string, w io.Writer) { io.WriteString(w, line+"\r\n") }),
			"no ELM327-compatible adapter; choose another port"},
		"half a reply": {answers(t, func(line string, w io.Writer) { io.WriteString(w, "ELM3") }),
			"no ELM327-compatible adapter; choose another port"},
		"web server": {"tcp://" + web.Listener.Addr().String(), "takes the connection and says nothing"},
		"hasty web server": {answers(t, func(_ string, w io.Writer) {
			io.WriteString(w, "HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n")
			w.(io.Closer).Close()
		}), "closed the connection at once; another program may be using the adapter, or something else is there: check the address"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel() // they wait
			o := stumbleAt(t.Context(), brisk(), "codes", "--port", c.port)
			requireOneLine(t, o, statusFailed, c.says)
		})
	}
}

// faithful answers as an adapter does until it is asked for the car's data.
func faithful(data func(line string, w io.Writer)) func(string, io.Writer) {
	return func(line string, w io.Writer) {
		switch {
		case line == "ATZ" || line == "ATWS" || line == "ATI":
			io.WriteString(w, "\r\rELM327 v2.2\r\r>")
		case line == "ATDPN":
			io.WriteString(w, "A6\r\r>")
		case strings.HasPrefix(line, "AT"):
			io.WriteString(w, "OK\r\r>")
		default:
			data(line, w)
		}
	}
}

// An adapter that breaks off in the middle of the car's answers, for good, is given up with a reason.
func TestHalfAnAnswerThenSilence(t *testing.T) {
	for name, half := range map[string]string{"line": "7E8 06 41 00 BE", "frame": "7E8 10 13\r", "words": "SEARCHING..."} {
		t.Run(name, func(t *testing.T) {
			port := answers(t, faithful(func(_ string, w io.Writer) { io.WriteString(w, half) }))
			o := stumbleAt(t.Context(), brisk(), "codes", "--port", port)
			requireOneLine(t, o, statusFailed, "the adapter broke off in the middle of an answer; check the plug and the connection")
		})
	}
}

// The user's leave is taken at once, whatever is being waited for.
func TestLeavingWhileWaiting(t *testing.T) {
	var speaking sync.WaitGroup
	t.Cleanup(speaking.Wait) // after the port is closed
	silent, far := openPort(t)
	for name, c := range map[string]struct {
		at   string // the line that the user leaves at
		data string // what the adapter says to requests for data
		port string // when it is not on the network
	}{
		"silent port":  {port: silent, at: "ATI"},
		"silent host":  {at: "ATI"},
		"no car":       {at: "0100", data: "UNABLE TO CONNECT\r\r>"},
		"half a reply": {at: "0100", data: "7E8 06"},
	} {
		t.Run(name, func(t *testing.T) {
			ctx, leave := context.WithCancel(t.Context())
			defer leave()
			heard := func(line string, w io.Writer) {
				if c.at != "ATI" {
					faithful(func(_ string, w io.Writer) { io.WriteString(w, c.data) })(line, w)
				}
				if line == c.at {
					leave()
				}
			}
			port := c.port
			if port == "" {
				port = answers(t, heard)
			} else {
				speaking.Go(func() { speak(far, func(line string, _ io.Writer) { heard(line, io.Discard) }) })
			}
			o := stumbleAt(ctx, clock.System{}, "watch", "--plain", "--port", port)
			assert.Equal(t, statusFailed, o.status)
			assert.Empty(t, o.out)
			assert.Contains(t, lastLines(o.errs, 1)[0], "stopped before it was done")
		})
	}
}
