package frame

import (
	"bytes"

	"stumble/obd"
)

const (
	firstBytes = 6    // data bytes of a first frame, ISO 15765-2
	nextBytes  = 7    // data bytes of a consecutive frame
	minSplit   = 8    // anything shorter fits a single frame
	maxSplit   = 4095 // the twelve-bit length of a first frame
	maxFrames  = 1 + (maxSplit-firstBytes+nextBytes-1)/nextBytes
)

// part is one message under assembly: a region of the assembler's data, filled frame by frame.
type part struct {
	module  obd.Module
	at      int // where its bytes begin in Assembler.data
	size    int
	split   bool // came as several frames
	frames  int  // frames it needs
	missing int  // frames not seen yet
	next    int  // one past the highest frame seen: what the four-bit counter is unwrapped against
	seen    [(maxFrames + 63) / 64]uint64
	err     error // why it can no longer become a message
}

func (p *part) has(index int) bool { return p.seen[index/64]>>(index%64)&1 != 0 }

// whole reports whether every byte came and none contradicted another.
func (p *part) whole() bool { return p.err == nil && p.missing == 0 }

// void gives the message up; the first reason stands.
func (p *part) void(reason error) {
	if p.err == nil {
		p.err = reason
	}
}

// restart forgets all frames.
func (p *part) restart() {
	p.seen = [len(p.seen)]uint64{}
	p.missing, p.next = p.frames, 0
}

// index unwraps a four-bit counter to the frame number nearest to the one expected, none below lowest.
func (p *part) index(counter byte, lowest int) int {
	ahead := (int(counter) - p.next) & 15
	if ahead >= 8 && p.next+ahead-16 >= lowest {
		ahead -= 16
	}
	return p.next + ahead
}

// span is the place of a frame's bytes within the message.
func (p *part) span(index int) (from, to int) {
	if index == 0 {
		return 0, firstBytes
	}
	from = firstBytes + nextBytes*(index-1)
	return from, min(from+nextBytes, p.size)
}

// need is how many bytes of the message a frame holds, none beyond its end.
func (p *part) need(index int) int {
	if index >= p.frames {
		return 0
	}
	from, to := p.span(index)
	return to - from
}

// store takes in one frame. A repeated frame must say the same again: if not, nobody can tell which is
// right and the message is void. What a frame holds beyond the stated length is padding.
func (p *part) store(message []byte, index int, data []byte) error {
	if index >= p.frames {
		p.void(ErrContradiction)
		return nil
	}
	from, to := p.span(index)
	if len(data) < to-from {
		return ErrShort
	}
	data = data[:to-from]
	if p.has(index) {
		if !bytes.Equal(message[from:to], data) {
			p.void(ErrContradiction)
		}
		return nil
	}
	copy(message[from:to], data)
	p.seen[index/64] |= 1 << (index % 64)
	p.missing--
	p.next = max(p.next, index+1)
	return nil
}
