package link

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"stumble/obd/clock"
)

// Recorder is a link that writes down what crosses it, in the form that ReadRecording and Playback read.
// Losing the record must not lose the car: once the file fails the recorder says so, once, writes no more,
// and goes on as a link.
type Recorder struct {
	Link
	clk    clock.Clock
	failed func(error)

	mu    sync.Mutex
	file  io.Writer // nil once it failed
	start time.Time
}

// flusher is a buffered writer. The record of a program that was killed is wanted most of all.
type flusher interface{ Flush() error }

// NewRecorder records l to file, from now on, each line in one Write, followed by a Flush where file has
// one. failed, which may be nil, is told the first error of file. Closing the recorder closes l, not file.
func NewRecorder(l Link, file io.Writer, clk clock.Clock, failed func(error)) *Recorder {
	r := &Recorder{Link: l, clk: clk, failed: failed, file: file, start: clk.Now()}
	r.line("# recorded " + r.start.UTC().Format(time.RFC3339))
	return r
}

// Read reads from the link and records what came.
func (r *Recorder) Read(p []byte) (int, error) {
	n, err := r.Link.Read(p)
	r.record(false, p[:n], err)
	return n, err
}

// Write records p and writes it to the link: in this order, or another goroutine might read the answer and
// record it before its request.
func (r *Recorder) Write(p []byte) (int, error) {
	r.record(true, p, nil)
	n, err := r.Link.Write(p)
	if err != nil {
		r.record(true, nil, err)
	}
	return n, err
}

// record writes down data, or as a comment the error that came instead. A passed deadline is no news.
func (r *Recorder) record(sent bool, data []byte, err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	at := r.clk.Now().Sub(r.start)
	if len(data) > 0 {
		r.line(Record{At: at, Sent: sent, Data: data}.String())
	}
	if err != nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		r.line(fmt.Sprintf("# after %.6f s: %s", at.Seconds(), oneLine(err)))
	}
}

func (r *Recorder) line(text string) {
	if r.file == nil {
		return
	}
	_, err := io.WriteString(r.file, text+"\n")
	if f, ok := r.file.(flusher); ok && err == nil {
		err = f.Flush()
	}
	if err == nil {
		return
	}
	r.file = nil
	if r.failed != nil {
		r.failed(fmt.Errorf("the recording stops here, the link goes on: %w; check the disk", err))
	}
}
