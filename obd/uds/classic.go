package uds

import (
	"stumble/obd"
)

// A value behind an identifier is encoded as the PID, monitor or information type whose number the low byte is, so the
// requests and answers of service 22 are put into the words of services 01, 06 and 09 and read by their decoders.

// FromClassic turns a request of service 01, 06 or 09 into one of service 22. ok is false for another service, and for
// more ids than a request of one frame holds.
func FromClassic(req obd.Request) (out obd.Request, ok bool) {
	high, ok := highOf(req.Service())
	ids := req.Params()
	if !ok || len(ids) == 0 || len(ids) > MostIdentifiers {
		return obd.Request{}, false
	}
	var params [obd.MaxRequest - 1]byte
	for i, id := range ids {
		params[2*i], params[2*i+1] = high, id
	}
	return obd.NewRequest(obd.DataByID, params[:2*len(ids)]...), true
}

func highOf(s obd.Service) (byte, bool) {
	switch s {
	case obd.LiveData:
		return highLive, true
	case obd.TestResults:
		return highTests, true
	case obd.VehicleInfo:
		return highInfo, true
	}
	return 0, false
}

// Classic is the service of SAE J1979 whose words a request of service 22 asks for; false for another request.
func Classic(req obd.Request) (obd.Service, bool) {
	if req.Service() != obd.DataByID || req.Len() < 3 {
		return 0, false
	}
	switch req.Params()[0] {
	case highLive:
		return obd.LiveData, true
	case highTests:
		return obd.TestResults, true
	case highInfo:
		return obd.VehicleInfo, true
	}
	return 0, false
}

// AppendClassic turns the answer to a request of service 22 into that of services 01, 06 and 09, and appends its bytes
// to dst. Nothing is appended on an error.
func AppendClassic(dst []byte, req obd.Request, m obd.Message) ([]byte, error) {
	service, ok := Classic(req)
	if !ok {
		return dst, malformed(m, "answers no request that has older words")
	}
	if err := expect(m, obd.DataByID, 4, req.Params()[0]); err != nil {
		return dst, err
	}
	switch service {
	case obd.LiveData:
		return appendLive(dst, req, m)
	case obd.TestResults:
		return appendTests(dst, m)
	}
	return appendInfo(dst, m)
}

// appendLive turns 62 F4 pid data [F4 pid data] into 41 pid data [pid data].
func appendLive(dst []byte, req obd.Request, m obd.Message) ([]byte, error) {
	out, alone := append(dst, obd.LiveData.Response()), req.Len() == 3
	for rest := m.Data[1:]; len(rest) > 0; {
		if len(rest) < 2 || rest[0] != highLive {
			return dst, malformed(m, "holds something other than a PID where one was expected")
		}
		pid, n := rest[1], len(rest)-2
		if d, known := obd.DescribePID(pid); known && !alone {
			n = min(n, d.Len) // what is cut short is told by the decoder
		}
		out, rest = append(append(out, pid), rest[2:2+n]...), rest[2+n:]
	}
	return out, nil
}

// resultBytes is a result of an identifier or of a code: test or zero, scaling, value, two limits.
const resultBytes = 8

// appendTests turns 62 F6 mid and eight bytes a test into 46 and nine bytes a test, and a bitmap into a bitmap. Layout
// from memory: the monitor id is said once, by the identifier.
func appendTests(dst []byte, m obd.Message) ([]byte, error) {
	mid, rest := m.Data[2], m.Data[3:]
	out := append(dst, obd.TestResults.Response())
	if mid%0x20 == 0 {
		return append(append(out, mid), rest...), nil
	}
	if len(rest)%resultBytes != 0 {
		return dst, malformed(m, "ends inside a test")
	}
	for ; len(rest) > 0; rest = rest[resultBytes:] {
		out = append(append(out, mid), rest[:resultBytes]...)
	}
	return out, nil
}

// appendInfo turns 62 F8 type items into 49 type count items. Only bitmaps have no count there.
func appendInfo(dst []byte, m obd.Message) ([]byte, error) {
	id, items := m.Data[2], m.Data[3:]
	out := append(dst, obd.VehicleInfo.Response(), id)
	if id%0x20 != 0 {
		size := itemSize(id)
		out = append(out, byte((len(items)+size-1)/size)) // of an item cut short the decoder tells
	}
	return append(out, items...), nil
}

func itemSize(id byte) int {
	switch id {
	case obd.InfoVIN:
		return 17
	case obd.InfoCalibrations:
		return 16
	case obd.InfoCVNs:
		return 4
	case obd.InfoECUName:
		return 20
	}
	return 0xFFF // one item, whatever its length
}
