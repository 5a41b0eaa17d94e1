package sim

import "time"

// queue holds bytes on their way to the computer, in the order they were sent, cut into chunks that arrive
// whole. What follows without a gap joins the chunk before it, as in the packets of a USB bridge.
type queue struct {
	bytes   []byte
	read    int // bytes already taken
	chunks  []chunk
	head    int       // the first chunk not yet taken
	free    time.Time // when the last byte has left the adapter
	latency time.Duration
	tail    byte // the last byte taken
}

// largestChunk bounds how much may arrive at once.
const largestChunk = 256

type chunk struct {
	ready time.Time // when its first byte was there to be sent
	sent  time.Time // when its last byte has left the adapter
	end   int       // index in bytes behind its last byte
}

// commit sends the bytes from start on, which are ready at a time and take byteTime each.
func (q *queue) commit(ready time.Time, start int, byteTime time.Duration) {
	n := len(q.bytes) - start
	if n == 0 {
		return
	}
	seamless := len(q.chunks) > q.head && !ready.After(q.free)
	q.free = later(q.free, ready).Add(time.Duration(n) * byteTime)
	if seamless {
		last := &q.chunks[len(q.chunks)-1]
		if len(q.bytes)-q.startOf(len(q.chunks)-1) <= largestChunk {
			last.sent, last.end = q.free, len(q.bytes)
			return
		}
	}
	q.chunks = append(q.chunks, chunk{ready: ready, sent: q.free, end: len(q.bytes)})
}

// startOf is the index of the first byte of a chunk that is still here.
func (q *queue) startOf(i int) int {
	if i == q.head {
		return q.read
	}
	return q.chunks[i-1].end
}

// waiting is how many bytes are still to leave the adapter at a time.
func (q *queue) waiting(at time.Time, byteTime time.Duration) int {
	left := q.free.Sub(at)
	if left <= 0 || byteTime == 0 {
		return 0
	}
	return int(left / byteTime)
}

// cut drops the chunks of which nothing was there to be sent at a time.
func (q *queue) cut(at time.Time) {
	i := len(q.chunks)
	for i > q.head && q.chunks[i-1].ready.After(at) {
		i--
	}
	if i == len(q.chunks) {
		return
	}
	q.bytes = q.bytes[:q.startOf(i)]
	q.chunks = q.chunks[:i]
	q.free = at
	if i > q.head {
		q.free = q.chunks[i-1].sent
	}
}

// due is when the next chunk arrives.
func (q *queue) due() (time.Time, bool) {
	if q.head == len(q.chunks) {
		return time.Time{}, false
	}
	return q.chunks[q.head].sent.Add(q.latency), true
}

// take moves what has arrived by now into p.
func (q *queue) take(p []byte, now time.Time) int {
	n := 0
	for q.head < len(q.chunks) && n < len(p) && !q.chunks[q.head].sent.Add(q.latency).After(now) {
		end := q.chunks[q.head].end
		moved := copy(p[n:], q.bytes[q.read:end])
		n += moved
		q.read += moved
		if q.read == end {
			q.head++
		}
	}
	if n > 0 {
		q.tail = p[n-1]
	}
	if q.head == len(q.chunks) {
		q.bytes, q.chunks, q.read, q.head = q.bytes[:0], q.chunks[:0], 0, 0
	}
	return n
}

// last is the byte sent last, a carriage return when there was none.
func (q *queue) last() byte {
	switch {
	case len(q.bytes) > q.read:
		return q.bytes[len(q.bytes)-1]
	case q.tail != 0:
		return q.tail
	}
	return '\r'
}
