package obd

import "bytes"

// Answers reports whether a message answers a request: same service, and every id it echoes was asked for.
// Late answers to an earlier request are told apart so, unless that request was the same. A refusal (7F)
// answers any request of the service it names: it echoes no id.
func Answers(req Request, m Message) bool {
	if len(m.Data) == 0 || req.Len() == 0 {
		return false
	}
	if m.Data[0] == negative {
		return len(m.Data) >= 3 && m.Data[1] == byte(req.Service())
	}
	if m.Data[0] != req.Service().Response() {
		return false
	}
	switch req.Service() {
	case LiveData:
		return echoes(m, LiveData, func(pid, _ byte) bool { return bytes.IndexByte(req.Params(), pid) >= 0 })
	case FreezeFrames:
		return echoes(m, FreezeFrames, func(pid, frame byte) bool { return frozenAsked(req.Params(), pid, frame) })
	case TestResults, VehicleInfo:
		return len(m.Data) >= 2 && bytes.IndexByte(req.Params(), m.Data[1]) >= 0
	}
	return true
}

// echoes checks each PID that can be told. One of unknown length or cut short ends the look, but is no sign
// of another request: decoding will say what is wrong with it.
func echoes(m Message, service Service, asked func(pid, frame byte) bool) bool {
	w, err := walk(m, service)
	if err != nil {
		return false
	}
	seen := 0
	for ; w.next(); seen++ {
		if !asked(w.pid, w.frame) {
			return false
		}
	}
	return seen > 0 || asked(w.pid, w.frame)
}

func frozenAsked(params []byte, pid, frame byte) bool {
	for ; len(params) >= 2; params = params[2:] {
		if params[0] == pid && params[1] == frame {
			return true
		}
	}
	return false
}
