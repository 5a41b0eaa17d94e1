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
	case TestResults, VehicleInfo, LocalData:
		return len(m.Data) >= 2 && bytes.IndexByte(req.Params(), m.Data[1]) >= 0
	case DataByID:
		return len(m.Data) >= 3 && identifierAsked(req.Params(), m.Data[1], m.Data[2])
	case CodeData:
		return echoesCode(req.Params(), m.Data[1:])
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

// identifierAsked reports whether the first identifier of an answer of service 22 was asked for. The lengths of the
// others are not known here: decoding tells.
func identifierAsked(params []byte, high, low byte) bool {
	for ; len(params) >= 2; params = params[2:] {
		if params[0] == high && params[1] == low {
			return true
		}
	}
	return false
}

// echoesCode checks what an answer of service 19 repeats of its request: the subfunction, then the functional group,
// or the code and, behind the status, the record, where there is one (ISO 14229-1).
func echoesCode(asked, said []byte) bool {
	const code, record = 4, 5 // where the code ends in both, and the record stands in an answer
	switch {
	case len(asked) < 2 || len(said) < 2 || said[0] != asked[0]:
		return false
	case asked[0] != CodeFrame && asked[0] != CodeRecord:
		return said[1] == asked[1]
	case len(asked) <= code || len(said) < code || !bytes.Equal(said[1:code], asked[1:code]):
		return false
	}
	return len(said) <= record || said[record] == asked[code]
}

// Subfunctions of service 19 that speak of one code.
const (
	CodeFrame  byte = 0x04 // a freeze frame
	CodeRecord byte = 0x06 // a record of extended data
)
