package link

import (
	"context"
	"io"
	"net"
	"os"
	"runtime"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/clock"
)

// noSuchName answers one query, framed as over TCP (RFC 1035, 4.1.1 and 4.2.2), with response code 3.
func noSuchName(server net.Conn) {
	defer server.Close()
	var length [2]byte
	if _, err := io.ReadFull(server, length[:]); err != nil {
		return
	}
	message := make([]byte, int(length[0])<<8|int(length[1]))
	if _, err := io.ReadFull(server, message); err != nil {
		return
	}
	message[2] |= 0x80 // a response
	message[3] = message[3]&0xF0 | 3
	_, _ = server.Write(append(length[:], message...))
}

func TestDialUnknownHost(t *testing.T) {
	// The name server is at the end of a pipe: no packet leaves the program.
	ask := func(context.Context, string, string) (net.Conn, error) {
		client, server := net.Pipe()
		go noSuchName(server)
		return client, nil
	}
	dialer := &net.Dialer{Resolver: &net.Resolver{PreferGo: true, Dial: ask}}
	_, err := dialTCP(t.Context(), dialer, "adapter.invalid.:35000", clock.System{})
	require.ErrorIs(t, err, UnknownHost)
	assert.EqualError(t, err, "open adapter.invalid.:35000: unknown host name; check the spelling, or give the address in numbers (often 192.168.0.10)")
}

func TestDialGivesUpOnTheClock(t *testing.T) {
	silent := &net.Dialer{ControlContext: func(ctx context.Context, _, _ string, _ syscall.RawConn) error {
		<-ctx.Done()
		return ctx.Err()
	}}
	clk := clock.NewStepped(time.Date(2026, 11, 25, 8, 30, 0, 0, time.UTC))
	failed := make(chan error, 1)
	go func() {
		_, err := dialTCP(context.Background(), silent, "127.0.0.1:35000", clk)
		failed <- err
	}()
	var err error
	for err == nil {
		select {
		case err = <-failed:
		default:
			clk.Advance(dialLimit)
			runtime.Gosched()
		}
	}
	require.ErrorIs(t, err, TimedOut)
	assert.EqualError(t, err, "open 127.0.0.1:35000: no answer in time; check that the adapter has power and that this computer is on the adapter's network")
}

// What the network says cannot be had on loopback alone is made here as package net makes it.
func TestDialReasons(t *testing.T) {
	for errno, want := range map[syscall.Errno]Reason{
		syscall.ECONNREFUSED: Refused,
		syscall.ENETUNREACH:  Unreachable,
		syscall.EHOSTUNREACH: Unreachable,
		syscall.EHOSTDOWN:    Unreachable,
		syscall.ETIMEDOUT:    TimedOut,
		syscall.EMFILE:       Unusable,
		10061:                Refused,
		10065:                Unreachable,
		10060:                TimedOut,
	} {
		err := &net.OpError{Op: "dial", Net: "tcp", Err: os.NewSyscallError("connect", errno)}
		assert.Equal(t, want, dialReason(err), "%d", int(errno))
	}
	assert.Equal(t, TimedOut, dialReason(&net.DNSError{IsTimeout: true}))
	assert.Equal(t, UnknownHost, dialReason(&net.DNSError{IsNotFound: true}))
}

func TestSerialReasons(t *testing.T) {
	for errno, want := range map[syscall.Errno]Reason{
		syscall.EACCES:  NoPermission,
		syscall.EBUSY:   Busy,
		syscall.ENOENT:  NoSuchPort,
		syscall.ENODEV:  NoSuchPort,
		syscall.ENXIO:   NoSuchPort,
		syscall.ENOTDIR: NoSuchPort,
		syscall.EISDIR:  NotSerial,
		syscall.ENOTTY:  NotSerial,
		syscall.EIO:     Unusable,
	} {
		assert.Equal(t, want, serialReason(errno), errno.Error())
	}
}

func TestEveryReasonSaysWhatToDo(t *testing.T) {
	seen := map[string]Reason{}
	for _, r := range []Reason{NoPermission, Busy, NoSuchPort, NotSerial, BadSpeed, Refused, TimedOut, UnknownHost,
		Unreachable, Stalled, Gone, Unusable} {
		assert.NotEmpty(t, r.remedy())
		assert.NotContains(t, seen, r.remedy(), "%s and %s cannot have the same remedy", r, seen[r.remedy()])
		seen[r.remedy()] = r
	}
	err := &Error{Op: "open", Where: "/dev/rfcomm0", Reason: Unusable, Cause: syscall.EHOSTDOWN}
	assert.EqualError(t, err, "open /dev/rfcomm0: the system will not open it (host is down); check that the adapter is plugged in, has power and is paired; one that was paired and is refused now: remove it and pair it again")
}
