package pack

import (
	"encoding/binary"
	"errors"

	"stumble/obd"
)

// ExchangeWriter packs raw exchanges into a block. The zero value begins one.
type ExchangeWriter struct {
	sealed
	requests map[string]*written
	errors   map[string]int
	count    int
	answers  int // bytes of all answers
	edits    []edit
}

// written is a request in the block, with its last answer.
type written struct {
	number int
	answer []byte
}

// edit is one change to the last answer.
type edit struct {
	keep, drop int
	put        []byte
}

// Begin starts the next block.
func (w *ExchangeWriter) Begin() {
	w.begin()
	w.count, w.answers = 0, 0
	clear(w.requests)
	clear(w.errors)
}

// Count is the number of exchanges in the block.
func (w *ExchangeWriter) Count() int { return w.count }

// Full reports that the block should be ended.
func (w *ExchangeWriter) Full() bool { return w.size() >= fullPacked || w.answers >= fullAnswers }

// Append packs an exchange. It is an ErrTooLarge, and not packed, when its request, answer or error is longer than
// MaxText.
func (w *ExchangeWriter) Append(e *obd.Exchange) error {
	var text string
	if e.Err != nil {
		text = e.Err.Error()
	}
	if max(len(e.Request), len(e.Answer), len(text)) > MaxText {
		return ErrTooLarge
	}
	request := w.request(e.Request)
	number := w.error(e.Err, text)
	w.count++
	w.answers += len(e.Answer)
	w.open = binary.AppendUvarint(w.open, uint64(request.number+1))
	w.times(e.Sent, e.Received)
	w.open = binary.AppendUvarint(w.open, uint64(number))
	w.answer(request, e.Answer)
	return nil
}

func (w *ExchangeWriter) request(line []byte) *written {
	if known, ok := w.requests[string(line)]; ok {
		return known
	}
	if w.requests == nil {
		w.requests = make(map[string]*written)
	}
	added := &written{number: len(w.requests) + 1}
	w.requests[string(line)] = added
	w.text(0, string(line))
	return added
}

// error is the number of an error's text, 0 without one.
func (w *ExchangeWriter) error(err error, text string) int {
	if err == nil {
		return 0
	}
	if known, ok := w.errors[text]; ok {
		return known
	}
	if w.errors == nil {
		w.errors = make(map[string]int)
	}
	number := len(w.errors) + 1
	w.errors[text] = number
	w.text(1, text)
	return number
}

func (w *ExchangeWriter) text(tag byte, text string) {
	w.open = append(w.open, tag)
	w.open = binary.AppendUvarint(w.open, uint64(len(text)))
	w.open = append(w.open, text...)
}

// answer packs how an answer differs from the last one, and takes it in.
func (w *ExchangeWriter) answer(r *written, now []byte) {
	w.edits = compare(w.edits[:0], r.answer, now)
	w.open = binary.AppendUvarint(w.open, uint64(len(w.edits)))
	for _, e := range w.edits {
		w.open = binary.AppendUvarint(w.open, uint64(e.keep))
		w.open = binary.AppendUvarint(w.open, uint64(e.drop))
		w.open = binary.AppendUvarint(w.open, uint64(len(e.put)))
		w.open = append(w.open, e.put...)
	}
	r.answer = append(r.answer[:0], now...)
}

// worthAnEdit is how many equal bytes must lie between two changes for two edits to be shorter than one.
const worthAnEdit = 4

// compare finds edits that make now of last: of the same length, one for each run of differing bytes; else one for
// what lies between what they begin and end with alike.
func compare(edits []edit, last, now []byte) []edit {
	if len(last) != len(now) {
		head := 0
		for head < min(len(last), len(now)) && last[head] == now[head] {
			head++
		}
		tail := 0
		for tail < min(len(last), len(now))-head && last[len(last)-1-tail] == now[len(now)-1-tail] {
			tail++
		}
		return append(edits, edit{keep: head, drop: len(last) - head - tail, put: now[head : len(now)-tail]})
	}
	done := 0 // up to here it is told
	for i := 0; i < len(now); i++ {
		if i+8 <= len(now) && binary.NativeEndian.Uint64(last[i:]) == binary.NativeEndian.Uint64(now[i:]) {
			i += 7
			continue
		}
		if last[i] == now[i] {
			continue
		}
		end := i + 1
		for equal := 0; end+equal < len(now) && equal < worthAnEdit; {
			if last[end+equal] == now[end+equal] {
				equal++
			} else {
				end, equal = end+equal+1, 0
			}
		}
		edits = append(edits, edit{keep: i - done, drop: end - i, put: now[i:end]})
		done, i = end, end
	}
	return edits
}

// ExchangeReader unpacks blocks of raw exchanges. The zero value is ready.
type ExchangeReader struct {
	requests []read
	errors   []error
	last     int64
	answers  int
	spare    []byte
	exchange obd.Exchange
}

// read is a request with its last answer.
type read struct{ line, answer []byte }

// Read gives each exchange of a block to do. It is good until do returns, and must not be changed. An error that
// was recorded comes back as its text alone. The error is do's, or a *DamageError when the rest of the block
// cannot be read.
func (r *ExchangeReader) Read(block []byte, do func(*obd.Exchange) error) error {
	r.requests, r.errors, r.last, r.answers = r.requests[:0], r.errors[:0], 0, 0
	return packets(block, func(payload []byte) error {
		c := cursor{data: payload}
		for len(c.data) > 0 {
			tag := c.uvarint()
			switch {
			case tag == 0:
				r.requests = append(r.requests, read{line: append([]byte(nil), c.bytes(MaxText)...)})
			case tag == 1:
				r.errors = append(r.errors, errors.New(string(c.bytes(MaxText))))
			case tag-1 > uint64(len(r.requests)):
				return errDamaged
			default:
				r.next(&c, &r.requests[tag-2])
			}
			if c.bad {
				return errDamaged
			}
			if tag < 2 {
				continue
			}
			if err := do(&r.exchange); err != nil {
				return err
			}
		}
		return nil
	})
}

func (r *ExchangeReader) next(c *cursor, request *read) {
	sent := r.last + c.varint()
	received := sent + c.varint()
	r.last = received
	var failed error
	if number := c.count(len(r.errors)); number > 0 {
		failed = r.errors[number-1]
	}
	r.answer(c, request)
	r.exchange = obd.Exchange{Sent: Time(sent), Received: Time(received), Request: request.line, Answer: request.answer, Err: failed}
}

// answer does the edits.
func (r *ExchangeReader) answer(c *cursor, request *read) {
	edits := c.count(MaxText)
	if edits > 0 {
		last, now := request.answer, r.spare[:0]
		for range edits {
			keep, drop := c.count(len(last)), c.count(len(last))
			put := c.bytes(MaxText)
			if c.bad || keep+drop > len(last) || len(now)+keep+len(put) > MaxText {
				c.fail()
				return
			}
			now = append(append(now, last[:keep]...), put...)
			last = last[keep+drop:]
		}
		now = append(now, last...)
		request.answer, r.spare = now, request.answer
	}
	if r.answers += len(request.answer); r.answers > maxAnswers || len(request.answer) > MaxText {
		c.fail()
	}
}
