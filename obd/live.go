package obd

// AppendLive decodes a live-data answer, 41 PID data [PID data]..., with its PIDs in whatever order the
// module put them, and appends their readings to dst. It does not allocate when dst has room. PIDs known by
// length only (bitmaps, the monitor status of this cycle) are stepped over.
//
// At a PID of unknown length it stops with an *UnknownPIDError, at missing data with a *ShortError; the
// readings before are right and kept. A tail of one repeated filler byte is padding, not a PID.
func AppendLive(dst []Reading, m Message) ([]Reading, error) {
	w, err := walk(m, LiveData)
	for err == nil && w.next() {
		dst = appendPID(dst, m.Module, LiveData, w.pid, w.data)
	}
	if err == nil {
		err = w.err
	}
	return dst, err
}

// AppendFrozen decodes a freeze-frame answer, 42 PID frame data [PID frame data]..., as AppendLive does.
// All its PIDs must belong to one frame; a reading does not tell the frame. The code that owns the frame
// (PIDFreezeCode) gives no reading: see DecodeFrozenCode.
func AppendFrozen(dst []Reading, m Message) ([]Reading, error) {
	w, err := walk(m, FreezeFrames)
	for err == nil && w.next() {
		if w.frame != m.Data[2] {
			return dst, malformed(m, "holds two freeze frames")
		}
		dst = appendPID(dst, m.Module, FreezeFrames, w.pid, w.data)
	}
	if err == nil {
		err = w.err
	}
	return dst, err
}

// PIDData finds the data bytes of one PID in a live-data or freeze-frame answer. It is false when the
// answer does not hold that PID, or ends before its data does.
func PIDData(m Message, pid byte) ([]byte, bool) {
	service := LiveData
	if len(m.Data) > 0 && m.Data[0] == FreezeFrames.Response() {
		service = FreezeFrames
	}
	w, err := walk(m, service)
	for err == nil && w.next() {
		if w.pid == pid {
			return w.data, true
		}
	}
	return nil, false
}

func appendPID(dst []Reading, module Module, service Service, pid byte, data []byte) []Reading {
	parts := pids[pid].Parts
	for i := range parts {
		if v, ok := parts[i].value(data); ok {
			dst = append(dst, Reading{Module: module, Service: service, ID: pid, Part: byte(i), Value: v, Unit: parts[i].Unit})
		}
	}
	return dst
}

// walker steps through the PIDs of one answer.
type walker struct {
	rest   []byte
	module Module
	framed bool // service 02: a frame number follows each PID
	first  bool
	pid    byte
	frame  byte
	data   []byte
	err    error
}

func walk(m Message, service Service) (walker, error) {
	w := walker{module: m.Module, framed: service == FreezeFrames, first: true}
	if err := expect(m, service, w.head()+1); err != nil {
		return w, err
	}
	w.rest = m.Data[1:]
	return w, nil
}

// head is the number of bytes before a PID's data.
func (w *walker) head() int {
	if w.framed {
		return 2
	}
	return 1
}

func (w *walker) next() bool {
	if len(w.rest) == 0 || !w.first && filler(w.rest) {
		return false
	}
	w.pid = w.rest[0]
	p, head := &pids[w.pid], w.head()
	if w.framed && len(w.rest) > 1 {
		w.frame = w.rest[1]
	}
	if p.Len == 0 {
		w.err = &UnknownPIDError{Module: w.module, PID: w.pid}
		return false
	}
	n := p.Len
	if w.first && p.OtherLen != 0 && len(w.rest) == head+p.OtherLen {
		n = p.OtherLen // alone, and exactly the other length
	}
	if len(w.rest) < head+n {
		w.err = &ShortError{Module: w.module, PID: w.pid, Want: n, Have: max(0, len(w.rest)-head)}
		return false
	}
	w.data, w.rest, w.first = w.rest[head:head+n], w.rest[head+n:], false
	return true
}

// filler reports whether a tail is one of the bytes modules pad frames with, over and over.
func filler(tail []byte) bool {
	switch tail[0] {
	case 0x00, 0x55, 0xAA, 0xCC, 0xFF:
	default:
		return false
	}
	for _, b := range tail[1:] {
		if b != tail[0] {
			return false
		}
	}
	return true
}
