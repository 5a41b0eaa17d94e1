package obd

import "fmt"

// The two test ids that SAE J1979 sets aside for misfire counts, and the unit-and-scaling id of counts.
const (
	TIDAverage  byte = 0x0B // weighted average of the last ten driving cycles; moves only at the end of one
	TIDCount    byte = 0x0C // this driving cycle; until the engine starts, still the last one
	uasCounts   byte = 0x24
	recordBytes      = 9 // MID TID UASID value(2) min(2) max(2)
)

// MIDs of the misfire monitors. After the twelfth cylinder the editions of the standard disagree: see
// MisfireCylinder.
const (
	MIDMisfire      byte = 0xA1 // the whole engine
	MIDCylinder1    byte = 0xA2
	midCylinder12   byte = 0xAD
	MIDLastCylinder byte = 0xB1 // the sixteenth
	cylinderOffset  byte = MIDCylinder1 - 1
)

// TestKey tells one on-board test from another. The scaling belongs to it: some modules send one MID and
// TID twice, scaled differently.
type TestKey struct {
	Module          Module
	MID, TID, UASID byte
	Record          byte
}

// TestResult is one record of service 06 on CAN (SAE J1979): a value and the limits it is held against.
type TestResult struct {
	Module          Module
	MID, TID, UASID byte
	Raw, Min, Max   uint16
	// The same scaled. With an unknown UASID they are the raw numbers and Unit is NoUnit.
	Value, MinValue, MaxValue float64
	Unit                      Unit
	Known                     bool // the scaling is known
	NotRun                    bool // value and limits all zero: never run since the last clear
	MinApplies, MaxApplies    bool // false when the limit is the one that stands for "none"
	Pass                      bool // within the limits that apply; false when not run
	// Record is the place, from 1, among the results that hang on a code of SAE J1979-2; 0 for results of service 06.
	// Such a result has no test id: TID is TIDCount where it is the only count of its code, else 0.
	Record byte
}

// Key is what tells this test from the others.
func (r TestResult) Key() TestKey { return TestKey{r.Module, r.MID, r.TID, r.UASID, r.Record} }

// Saturated reports a count that stands at its end and says only "at least".
func (r TestResult) Saturated() bool { return r.UASID == uasCounts && r.Raw == 0xFFFF }

// DecodeTests reads an on-board test answer on CAN, 46 and nine bytes a test. Whole records before a fault
// are returned together with the error.
func DecodeTests(m Message) ([]TestResult, error) {
	if err := expect(m, TestResults, 2); err != nil {
		return nil, err
	}
	var out []TestResult
	rest := m.Data[1:]
	for ; len(rest) >= recordBytes; rest = rest[recordBytes:] {
		if rest[0]%supportBlock == 0 {
			return out, malformed(m, "holds a bitmap (%02X) where a test was expected", rest[0])
		}
		out = append(out, testResult(m.Module, rest))
	}
	return out, recordTail(m, rest)
}

// recordTail judges what is left after the last whole record: padding is nothing, anything else a record
// cut short.
func recordTail(m Message, rest []byte) error {
	if len(rest) == 0 || len(rest) < len(m.Data)-1 && filler(rest) {
		return nil
	}
	return malformed(m, "ends inside a test: MID %02X has %d of %d bytes", rest[0], len(rest), recordBytes)
}

// testResult reads MID TID UASID value min max.
func testResult(module Module, b []byte) TestResult {
	r := TestResult{Module: module, MID: b[0], TID: b[1], UASID: b[2], Raw: word(b[3:]), Min: word(b[5:]), Max: word(b[7:])}
	s, known := ScalingOf(r.UASID)
	if !known { // the sign is in the id itself
		s = Scaling{Signed: r.UASID >= 0x80, mul: 1, div: 1}
	}
	r.Known, r.Unit = known, s.Unit
	r.Value, r.MinValue, r.MaxValue = s.Value(r.Raw), s.Value(r.Min), s.Value(r.Max)
	r.NotRun = r.Raw == 0 && r.Min == 0 && r.Max == 0
	r.MinApplies, r.MaxApplies = limits(s.Signed, r.Min, r.Max)
	value, low, high := ordered(s.Signed, r.Raw), ordered(s.Signed, r.Min), ordered(s.Signed, r.Max)
	r.Pass = !r.NotRun && (!r.MinApplies || value >= low) && (!r.MaxApplies || value <= high)
	return r
}

// RecordResult reads one result that hangs on a misfire code of a cylinder: unit-and-scaling id, value and limits as
// words. It is number record, from 1, of its code.
func RecordResult(module Module, cylinder int, record, uas byte, value, low, high uint16) TestResult {
	r := testResult(module, []byte{MIDMisfire + byte(cylinder), 0, uas,
		byte(value >> 8), byte(value), byte(low >> 8), byte(low), byte(high >> 8), byte(high)})
	r.Record = record
	return r
}

// limits tells which limits apply. The end of the range (0000 or 8000 below, FFFF or 7FFF above) means
// none; so does a zero below the signed "none" above, and a pair that no value could satisfy.
func limits(signed bool, low, high uint16) (lowApplies, highApplies bool) {
	if ordered(signed, low) > ordered(signed, high) {
		return false, false
	}
	if signed {
		return low != 0x8000 && (low != 0 || high != 0x7FFF), high != 0x7FFF
	}
	return low != 0, high != 0xFFFF && high != 0x7FFF
}

func ordered(signed bool, raw uint16) int {
	if signed {
		return int(int16(raw))
	}
	return int(raw)
}

func word(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }

// AppendCounts decodes the misfire monitors' records of an on-board test answer on CAN for polling, without
// allocating when dst has room: Service is TestResults, ID the MID, Part the TID. Misfire counts
// (TIDAverage, TIDCount) are taken only in the unit of counts, other tests of those monitors whenever their
// scaling is known. A count of 65535 is passed on as it is: it means "at least". Records of other monitors
// are stepped over. Readings before a fault are kept.
func AppendCounts(dst []Reading, m Message) ([]Reading, error) {
	if err := expect(m, TestResults, 2); err != nil {
		return dst, err
	}
	rest := m.Data[1:]
	for ; len(rest) >= recordBytes; rest = rest[recordBytes:] {
		if rest[0]%supportBlock == 0 {
			return dst, malformed(m, "holds a bitmap (%02X) where a test was expected", rest[0])
		}
		mid, tid, uas := rest[0], rest[1], rest[2]
		s, known := ScalingOf(uas)
		if !known || !polled(mid, tid, uas) {
			continue
		}
		dst = append(dst, Reading{
			Module: m.Module, Service: TestResults, ID: mid, Part: tid, Value: s.Value(word(rest[3:])), Unit: s.Unit,
		})
	}
	return dst, recordTail(m, rest)
}

func polled(mid, tid, uas byte) bool {
	switch {
	case mid < MIDMisfire || mid > MIDLastCylinder:
		return false
	case isCount(tid):
		return uas == uasCounts
	}
	return mid <= midCylinder12
}

func isCount(tid byte) bool { return tid == TIDAverage || tid == TIDCount }

// MisfireCylinder tells which cylinder a misfire monitor stands for: A2 is 1, AD is 12. AE to B1 are 13 to
// 16 in newer editions of the standard and particulate filters in older ones, so they are cylinders only if
// the results given for them carry misfire counts. The standard means the cylinder's number; some makers
// count in firing order. MIDMisfire, the whole engine, is no cylinder.
func MisfireCylinder(mid byte, results []TestResult) (cylinder int, ok bool) {
	if mid < MIDCylinder1 || mid > MIDLastCylinder {
		return 0, false
	}
	if mid > midCylinder12 && !carriesCounts(mid, results) {
		return 0, false
	}
	return int(mid - cylinderOffset), true
}

func carriesCounts(mid byte, results []TestResult) bool {
	for i := range results {
		if results[i].MID == mid && isCount(results[i].TID) {
			return true
		}
	}
	return false
}

// LegacyResult is one test of service 06 on the buses before CAN, 46 TID component value(2) limit(2). Test
// ids, components and scaling are the maker's.
type LegacyResult struct {
	Module       Module
	TID          byte
	Component    byte // 0 to 127
	LowerLimit   bool // Limit is a minimum, else a maximum
	Value, Limit uint16
	Pass         bool
}

// DecodeLegacyTest reads one on-board test answer of a bus before CAN. The upper bit of the component byte
// tells a minimum from a maximum.
func DecodeLegacyTest(m Message) (LegacyResult, error) {
	if err := expect(m, TestResults, 7); err != nil {
		return LegacyResult{}, err
	}
	if len(m.Data) > 7 {
		return LegacyResult{}, malformed(m, "has %d bytes, a test before CAN has 7", len(m.Data))
	}
	b := m.Data
	r := LegacyResult{
		Module: m.Module, TID: b[1], Component: b[2] & 0x7F, LowerLimit: b[2]&0x80 != 0, Value: word(b[3:]), Limit: word(b[5:]),
	}
	r.Pass = r.Value <= r.Limit
	if r.LowerLimit {
		r.Pass = r.Value >= r.Limit
	}
	return r, nil
}

// MonitorName names an on-board monitor of service 06 on CAN. Ids that the standard leaves to the maker or
// does not use are named by number.
func MonitorName(mid byte) string {
	switch {
	case mid >= 0x01 && mid <= 0x10:
		return fmt.Sprintf("oxygen sensor %d of bank %d", (mid-1)%4+1, (mid-1)/4+1)
	case mid >= 0x21 && mid <= 0x24:
		return fmt.Sprintf("catalyst of bank %d", mid-0x20)
	case mid >= 0x31 && mid <= 0x34:
		return fmt.Sprintf("exhaust recirculation of bank %d", mid-0x30)
	case mid >= 0x35 && mid <= 0x38:
		return fmt.Sprintf("valve timing of bank %d", mid-0x34)
	case mid >= 0x41 && mid <= 0x50:
		return fmt.Sprintf("heater of oxygen sensor %d of bank %d", (mid-0x41)%4+1, (mid-0x41)/4+1)
	case mid >= 0x61 && mid <= 0x64:
		return fmt.Sprintf("heated catalyst of bank %d", mid-0x60)
	case mid >= 0x71 && mid <= 0x74:
		return fmt.Sprintf("secondary air %d", mid-0x70)
	case mid >= 0x81 && mid <= 0x84:
		return fmt.Sprintf("fuel system of bank %d", mid-0x80)
	case mid >= MIDCylinder1 && mid <= midCylinder12:
		return fmt.Sprintf("misfire of cylinder %d", mid-cylinderOffset)
	case mid >= 0xE1:
		return fmt.Sprintf("maker's monitor %02X", mid)
	}
	if name := singleMonitor(mid); name != "" {
		return name
	}
	return fmt.Sprintf("monitor %02X", mid)
}

func singleMonitor(mid byte) string {
	switch mid {
	case 0x39:
		return "vapour leak, filler cap off"
	case 0x3A:
		return "vapour leak, 0.090 inch"
	case 0x3B:
		return "vapour leak, 0.040 inch"
	case 0x3C:
		return "vapour leak, 0.020 inch"
	case 0x3D:
		return "purge flow"
	case 0x85, 0x86:
		return fmt.Sprintf("boost pressure of bank %d", mid-0x84)
	case 0x90, 0x91:
		return fmt.Sprintf("NOx adsorber of bank %d", mid-0x8F)
	case 0x98, 0x99:
		return fmt.Sprintf("NOx catalyst of bank %d", mid-0x97)
	case MIDMisfire:
		return "misfire of the whole engine"
	}
	return ""
}

// ResultName names a result that hangs on a code of SAE J1979-2 by its place from 0: it does not say what it tests.
func ResultName(place byte) string { return fmt.Sprintf("result %d of its code", int(place)+1) }

// TestName names a test id of service 06 on CAN.
func TestName(tid byte) string {
	switch tid {
	case 0x01:
		return "rich to lean threshold"
	case 0x02:
		return "lean to rich threshold"
	case 0x03:
		return "low voltage for switch time"
	case 0x04:
		return "high voltage for switch time"
	case 0x05:
		return "rich to lean switch time"
	case 0x06:
		return "lean to rich switch time"
	case 0x07:
		return "lowest voltage"
	case 0x08:
		return "highest voltage"
	case 0x09:
		return "time between transitions"
	case 0x0A:
		return "period"
	case TIDAverage:
		return "misses, average of the last ten driving cycles"
	case TIDCount:
		return "misses, this driving cycle"
	}
	if tid >= 0x80 && tid < 0xFF {
		return fmt.Sprintf("maker's test %02X", tid)
	}
	return fmt.Sprintf("test %02X", tid)
}
