package obd

import (
	"encoding/json"
	"testing"
)

func TestModuleText(t *testing.T) {
	for want, m := range map[string]Module{
		"7E8": {ID: 0x7E8, Bits: 11}, "18DAF110": {ID: 0x18DAF110, Bits: 29}, "0A": {ID: 0x0A, Bits: 8}, "-": {},
	} {
		same(t, "String", m.String(), want)
		text, err := json.Marshal(m)
		must(t, err)
		same(t, "JSON", string(text), `"`+want+`"`)
	}
}

// TestProtocols: the numbers are those of AT DPN in the adapter's data sheet.
func TestProtocols(t *testing.T) {
	words := map[string]bool{}
	for p := range Protocol(11) {
		words[p.String()] = true
		same(t, p.String()+" CAN", p.CAN(), p >= 6 && p <= 9)
		same(t, p.String()+" Wide", p.Wide(), p == 7 || p == 9)
		same(t, p.String()+" J1850", p.J1850(), p == 1 || p == 2)
		same(t, p.String()+" KWP", p.KWP(), p == 4 || p == 5)
	}
	same(t, "different words", len(words), 11)
}

func TestRequests(t *testing.T) {
	for want, r := range map[string]Request{
		"010c0d": Live(PIDRPM, PIDSpeed), "020c00": Frozen(PIDRPM, 0), "06a2": Test(MIDCylinder1), "0902": Info(InfoVIN),
		"03": NewRequest(StoredCodes), "": {},
	} {
		same(t, "String", r.String(), want)
		same(t, "bytes", string(r.Append([]byte("x"))), "x"+string(unhex(t, want)))
		same(t, "Len", r.Len(), len(want)/2)
		same(t, "params", len(r.Params()), max(0, r.Len()-1))
	}
	seen := map[Request]bool{Live(PIDRPM): true}
	same(t, "equal requests are one key", seen[Live(PIDRPM)] && !seen[Live(PIDSpeed)], true)
	same(t, "response", StoredCodes.Response(), 0x43)
	defer func() { same(t, "too long a request panics", recover() != nil, true) }()
	NewRequest(LiveData, 1, 2, 3, 4, 5, 6, 7)
}

func TestCloneIsIndependent(t *testing.T) {
	s := Sample{Readings: []Reading{{Value: 1}}}
	c := s.Clone()
	s.Readings[0].Value = 2
	near(t, "the clone", c.Readings[0].Value, 1, 0)
}
