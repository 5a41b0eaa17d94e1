//go:build linux || darwin

package sim

import (
	"context"
	"io"
	"os"
	"sync"
	"syscall"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"

	"stumble/obd/clock"
	"stumble/obd/link"
)

// redial is how long to wait before trying again to reach an adapter that is out of reach.
const redial = 250 * time.Millisecond

// ServePTY offers an adapter as a serial port: a new pseudo-terminal, whose path it hands to ready. Clients
// may open and close the port at will; speed settings mean nothing there. While the adapter is out of reach
// the port is silent. It returns nil when ctx ends.
func ServePTY(ctx context.Context, clk clock.Clock, dial Dial, ready func(path string)) error {
	ctx, cancel := context.WithCancel(ctx)
	port, err := openPort()
	if err != nil {
		cancel()
		return err
	}
	defer port.slave.Close()
	stop := context.AfterFunc(ctx, func() { port.master.Close() })
	defer stop()
	var reading sync.WaitGroup
	defer reading.Wait()
	defer cancel()
	reading.Go(func() {
		carry(port, port.master)
		cancel()
	})
	told := false
	for ctx.Err() == nil {
		adapter, err := dial(ctx)
		if err != nil {
			clk.SleepUntil(clk.Now().Add(redial), ctx.Done())
			continue
		}
		hangUp := context.AfterFunc(ctx, func() { adapter.Close() })
		port.plug(adapter)
		if !told { // not before the adapter is plugged in: a first command would be lost
			told = true
			ready(port.slave.Name())
		}
		carry(port.master, adapter)
		hangUp()
		adapter.Close()
	}
	return nil
}

// port is the adapter's end of the pseudo-terminal. Its Write takes what a client sent to whichever link
// leads to the adapter now.
type port struct {
	master *os.File
	slave  *os.File // held open, so that a client may close and come again

	mu      sync.Mutex
	adapter io.Writer
}

func openPort() (*port, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, err
	}
	defer master.Close()
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		slave.Close()
		return nil, err
	}
	own, err := interruptible(master)
	if err != nil {
		slave.Close()
		return nil, err
	}
	return &port{master: own, slave: slave, adapter: io.Discard}, nil
}

// interruptible is the same device as f, opened so that closing it ends a Read under way.
func interruptible(f *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return nil, err
	}
	syscall.CloseOnExec(fd)
	if err := syscall.SetNonblock(fd, true); err != nil {
		syscall.Close(fd)
		return nil, err
	}
	return os.NewFile(uintptr(fd), f.Name()), nil
}

func (p *port) plug(adapter link.Link) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.adapter = adapter
}

// Write hands on what a client sent; what comes while the adapter is out of reach is lost.
func (p *port) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	_, _ = p.adapter.Write(b)
	return len(b), nil
}
