package obd

import (
	"encoding/csv"
	"encoding/hex"
	"fmt"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// vector is one row of decode-vectors.csv; its source column names where it was published.
type vector struct {
	service, request, response, what, expected, unit, source string
	messages                                                 []Message
}

func readCSV(t testing.TB, name string) [][]string {
	t.Helper()
	f, err := os.Open("../testdata/vectors/" + name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func unhex(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(s)
	if err != nil {
		t.Fatalf("%q: %v", s, err)
	}
	return b
}

// message is one answer of the usual engine controller.
func message(t testing.TB, s string) Message {
	t.Helper()
	return Message{Module: Module{ID: 0x7E8, Bits: 11}, Data: unhex(t, strings.ReplaceAll(s, " ", ""))}
}

// TestPublishedVectors runs every row of decode-vectors.csv but the wire rows, which are package frame's.
func TestPublishedVectors(t *testing.T) {
	for _, row := range readCSV(t, "decode-vectors.csv") {
		v := vector{service: row[0], request: row[1], response: row[2], what: row[3], expected: row[4], unit: row[5], source: row[6]}
		if v.service == "wire" {
			continue
		}
		t.Run(v.what+"/"+v.response, func(t *testing.T) {
			if v.source == "" {
				t.Fatal("a vector without a source")
			}
			if v.service == "UAS" {
				checkScaling(t, v)
				return
			}
			for s := range strings.SplitSeq(v.response, "|") {
				v.messages = append(v.messages, message(t, s))
			}
			check, ok := vectorChecks[v.what]
			if !ok {
				t.Fatalf("no check for a row of kind %q", v.what)
			}
			check(t, v)
		})
	}
}

// vectorChecks tells how each kind of row is checked.
var vectorChecks = map[string]func(*testing.T, vector){
	"supported_pids": checkSupport, "supported_pids_two_blocks": checkSupport,
	"supported_mids": checkSupport, "supported_mids_two_blocks": checkSupport, "supported_infotypes": checkSupport,
	"bitmap_bits": checkBits,

	"mil": checkMonitors, "dtc_count": checkMonitors, "ignition": checkMonitors,
	"misfire_supported": checkMonitors, "misfire_complete": checkMonitors, "misfire_enabled": checkMonitors,
	"fuel_system_complete": checkMonitors, "fuel_system_supported": checkMonitors, "components_complete": checkMonitors,
	"all_spark_monitors_supported_and_complete": checkMonitors,
	"nmhc_catalyst": checkMonitors, "nox_scr": checkMonitors, "boost_pressure": checkMonitors,

	"engine_load": checkNumber, "coolant": checkNumber, "stft_b1": checkNumber, "ltft_b1": checkNumber,
	"stft_b2": checkNumber, "ltft_b2": checkNumber, "fuel_pressure": checkNumber, "map": checkNumber,
	"rpm": checkNumber, "speed": checkNumber, "timing": checkNumber, "intake_air": checkNumber, "maf": checkNumber,
	"throttle": checkNumber, "run_time": checkNumber, "distance_mil_on": checkNumber, "fuel_level": checkNumber,
	"warm_ups": checkNumber, "distance_since_clear": checkNumber, "baro": checkNumber,
	"module_voltage": checkNumber, "absolute_load": checkNumber, "commanded_lambda": checkNumber,
	"ambient": checkNumber, "accel_pedal_d": checkNumber, "time_mil_on": checkNumber, "time_since_clear": checkNumber,
	"oil_temp": checkNumber, "fuel_rate": checkNumber, "odometer": checkNumber, "cat_temp_b1s1": checkNumber,
	"o2_voltage": checkNumber, "o2_trim": checkNumber,
	"multi_pid_split": checkSplit, "multi_pid_split_other_order": checkSplit, "multi_pid_decode": checkMultiple,

	"freeze_frame_rpm": checkFrozen, "freeze_frame_load": checkFrozen, "freeze_frame_coolant": checkFrozen,
	"freeze_frame_dtc": checkFrozenCode,

	"dtcs_pre_can": checkCodes, "dtcs_pre_can_two_messages": checkCodes, "dtcs_can": checkCodes,
	"dtcs_can_multiframe": checkCodes, "dtcs_can_zero_entry_dropped": checkCodes, "pending_can": checkCodes,
	"permanent_can": checkCodes, "clear_ok": checkCleared,

	"test_count": checkTestCount, "test_count_trailing_junk": checkTestCount, "test_count_truncated": checkTestCount,
	"tid01_value": checkTestField, "tid05_value": checkTestField, "tid05_max": checkTestField,
	"tid85_value": checkTestField, "tid85_min": checkTestField, "tid85_max": checkTestField,
	"not_run_all_zero": checkNotRun, "same_mid_tid_two_uas": checkTwoScalings,
	"pre_can_component_03_max_limit": checkLegacyTest, "pre_can_component_05_min_limit": checkLegacyTest,

	"vin": checkVIN, "vin_pre_can_5_messages": checkVIN, "calibration_id": checkCalibrations,
	"calibration_ids": checkCalibrations, "cvns": checkCVNs, "ecu_name": checkECUName,
	"negative_response": checkNegative, "negative_response_wait": checkNegative,
}

// protocolOf tells the bus of a row by its name.
func protocolOf(what string) Protocol {
	if strings.Contains(what, "pre_can") {
		return J1850VPW
	}
	return CAN11At500
}

// writtenUnit is our way of writing a vector's unit.
func writtenUnit(s string) Unit {
	switch s {
	case "degC":
		return Celsius
	case "deg":
		return Degrees
	case "Ohm":
		return Ohms
	case "mOhm":
		return Milliohms
	case "kOhm":
		return Kilohms
	case "us":
		return Microseconds
	case "uA":
		return Microamperes
	case "mm^2":
		return SquareMilli
	case "bool":
		return OnOff
	}
	return Unit(s)
}

func parse(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func near(t testing.TB, what string, got, want, tolerance float64) {
	t.Helper()
	if math.Abs(got-want) > tolerance || math.IsNaN(got) {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func same[T comparable](t testing.TB, what string, got, want T) {
	t.Helper()
	if got != want {
		t.Errorf("%s is %v, want %v", what, got, want)
	}
}

func must(t testing.TB, err error) {
	t.Helper()
	if err != nil {
		t.Fatal(err)
	}
}

func support(t testing.TB, v vector) Support {
	t.Helper()
	var s Support
	for _, m := range v.messages {
		must(t, s.Add(CAN11At500, m))
	}
	return s
}

func checkSupport(t *testing.T, v vector) {
	s := support(t, v)
	var got []string
	for id := range s.All() {
		got = append(got, fmt.Sprintf("%02X", id))
	}
	want := strings.ReplaceAll(strings.ReplaceAll(v.expected, "| ", ""), "(none)", "")
	same(t, "the list", strings.Join(got, " "), want)
}

func checkBits(t *testing.T, v vector) {
	s := support(t, v)
	for i, bit := range v.expected {
		same(t, fmt.Sprintf("bit %d", i), s.Has(byte(i+1)), bit == '1')
	}
}

func checkMonitors(t *testing.T, v vector) {
	pid := v.messages[0].Data[1]
	m, err := DecodeMonitors(v.messages[0], pid)
	must(t, err)
	same(t, "ThisCycle", m.ThisCycle, pid == PIDStatusThisCycle)
	yes := v.expected == "yes"
	state := func(monitor Monitor) MonitorState {
		s, ok := m.State(monitor)
		if !ok {
			t.Fatalf("no monitor %v", monitor)
		}
		return s
	}
	inWords := func(s MonitorState) string {
		switch {
		case !s.Supported:
			return "not supported"
		case !s.Complete:
			return "supported; not complete"
		}
		return "supported; complete"
	}
	switch v.what {
	case "mil":
		same(t, "MIL", m.MIL, v.expected == "on")
	case "dtc_count":
		same(t, "Codes", strconv.Itoa(m.Codes), v.expected)
	case "ignition":
		same(t, "Compression", m.Compression, v.expected == "compression")
	case "misfire_supported", "misfire_enabled":
		same(t, "Supported", state(MonitorMisfire).Supported, yes)
	case "misfire_complete":
		same(t, "Complete", state(MonitorMisfire).Complete, yes)
	case "fuel_system_complete":
		same(t, "Complete", state(MonitorFuel).Complete, yes)
	case "fuel_system_supported":
		same(t, "Supported", state(MonitorFuel).Supported, yes)
	case "components_complete":
		same(t, "Complete", state(MonitorComponents).Complete, yes)
	case "all_spark_monitors_supported_and_complete":
		same(t, "the number of monitors", len(m.States), 11)
		for _, s := range m.States {
			same(t, s.Monitor.String(), s.Supported && s.Complete, yes)
		}
		same(t, "Incomplete", m.Incomplete(), 0)
	case "nmhc_catalyst":
		same(t, v.what, inWords(state(MonitorNMHC)), v.expected)
	case "nox_scr":
		same(t, v.what, inWords(state(MonitorNOx)), v.expected)
	case "boost_pressure":
		same(t, v.what, inWords(state(MonitorBoost)), v.expected)
	default:
		t.Fatalf("no check for %q", v.what)
	}
}

func live(t testing.TB, m Message) []Reading {
	t.Helper()
	r, err := AppendLive(nil, m)
	must(t, err)
	return r
}

func reading(t testing.TB, readings []Reading, pid, part byte) Reading {
	t.Helper()
	for _, r := range readings {
		if r.ID == pid && r.Part == part {
			return r
		}
	}
	t.Fatalf("no reading of PID %02X part %d in %v", pid, part, readings)
	return Reading{}
}

func checkNumber(t *testing.T, v vector) {
	part := byte(0)
	if v.what == "o2_trim" {
		part = PartSensorTrim
	}
	r := reading(t, live(t, v.messages[0]), v.messages[0].Data[1], part)
	near(t, v.what, r.Value, parse(t, v.expected), 0.03) // the tolerance of the vectors
	same(t, "Service", r.Service, LiveData)
	unit := writtenUnit(v.unit)
	if v.what == "warm_ups" {
		unit = Counts
	}
	same(t, "Unit", r.Unit, unit)
}

func checkSplit(t *testing.T, v vector) {
	w, err := walk(v.messages[0], LiveData)
	must(t, err)
	var got []string
	for w.next() {
		got = append(got, fmt.Sprintf("%02X=%X", w.pid, w.data))
	}
	must(t, w.err)
	same(t, "the split", strings.Join(got, " "), v.expected)
}

func checkMultiple(t *testing.T, v vector) {
	// The expected column, spelled out: "05=70 degC; 15=0.8 V and -6.25 %; 0C=666.75 rpm; 03=02/00".
	same(t, "the row", v.expected, "05=70 degC; 15=0.8 V and -6.25 %; 0C=666.75 rpm; 03=02/00")
	r := live(t, v.messages[0])
	near(t, "coolant", reading(t, r, PIDCoolant, 0).Value, 70, 0)
	near(t, "sensor voltage", reading(t, r, 0x15, PartSensorVolts).Value, 0.8, 1e-12)
	near(t, "trim", reading(t, r, 0x15, PartSensorTrim).Value, -6.25, 0)
	near(t, "rpm", reading(t, r, PIDRPM, 0).Value, 666.75, 0)
	same(t, "fuel system 1", FuelSystem(reading(t, r, PIDFuelSystem, PartFuelSystem1).Value), ClosedLoop)
	same(t, "fuel system 2", FuelSystem(reading(t, r, PIDFuelSystem, PartFuelSystem2).Value), 0)
}

func checkFrozen(t *testing.T, v vector) {
	readings, err := AppendFrozen(nil, v.messages[0])
	must(t, err)
	pid := map[string]byte{"freeze_frame_rpm": PIDRPM, "freeze_frame_load": PIDLoad, "freeze_frame_coolant": PIDCoolant}[v.what]
	r := reading(t, readings, pid, 0)
	near(t, v.what, r.Value, parse(t, v.expected), 0.001)
	same(t, "Service", r.Service, FreezeFrames)
}

func checkFrozenCode(t *testing.T, v vector) {
	code, frame, err := DecodeFrozenCode(v.messages[0])
	must(t, err)
	same(t, "code", code.String(), v.expected)
	same(t, "frame", frame, 0)
}

func checkCodes(t *testing.T, v vector) {
	got := []string{}
	for _, m := range v.messages {
		codes, err := DecodeCodes(protocolOf(v.what), m)
		must(t, err)
		for _, c := range codes {
			got = append(got, c.String())
		}
	}
	same(t, "the codes", strings.Join(got, " "), strings.ReplaceAll(v.expected, "(none)", ""))
}

func checkCleared(t *testing.T, v vector) {
	same(t, "answered", Answers(NewRequest(ClearCodes), v.messages[0]), v.expected == "ok")
}

func checkTestCount(t *testing.T, v vector) {
	results, err := DecodeTests(v.messages[0])
	same(t, "the number of tests", strconv.Itoa(len(results)), v.expected)
	same(t, "an error", err != nil, v.what != "test_count") // a cut or junk tail is told
}

func checkTestField(t *testing.T, v vector) {
	results, err := DecodeTests(v.messages[0])
	must(t, err)
	for _, r := range results {
		if fmt.Sprintf("tid%02X", r.TID) != v.what[:5] {
			continue
		}
		got := map[string]float64{"value": r.Value, "min": r.MinValue, "max": r.MaxValue}[v.what[6:]]
		near(t, v.what, got, parse(t, v.expected), 1e-9)
		same(t, "Unit", r.Unit, writtenUnit(v.unit))
		return
	}
	t.Fatalf("no test for %s", v.what)
}

func checkNotRun(t *testing.T, v vector) {
	results, err := DecodeTests(v.messages[0])
	must(t, err)
	r := results[0]
	same(t, "value / min / max", fmt.Sprintf("%v / %v / %v", r.Value, r.MinValue, r.MaxValue), v.expected)
	same(t, "NotRun", r.NotRun, true)
	same(t, "Pass", r.Pass, false)
	same(t, "Unit", r.Unit, writtenUnit(v.unit))
}

func checkTwoScalings(t *testing.T, v vector) {
	results, err := DecodeTests(v.messages[0])
	must(t, err)
	same(t, "the number of tests", len(results), 2)
	a, b := results[0].Key(), results[1].Key()
	same(t, "tid/uas", fmt.Sprintf("%02X/%02X and %02X/%02X", a.TID, a.UASID, b.TID, b.UASID), v.expected)
	same(t, "one key", a == b, false)
}

func checkLegacyTest(t *testing.T, v vector) {
	component := map[string]byte{"pre_can_component_03_max_limit": 3, "pre_can_component_05_min_limit": 5}[v.what]
	for _, m := range v.messages {
		r, err := DecodeLegacyTest(m)
		must(t, err)
		if r.Component != component {
			continue
		}
		limit := "max"
		if r.LowerLimit {
			limit = "min"
		}
		same(t, v.what, fmt.Sprintf("value %d; %s %d", r.Value, limit, r.Limit), v.expected)
		same(t, "Pass", r.Pass, true)
		return
	}
	t.Fatalf("no component %d", component)
}

func checkScaling(t *testing.T, v vector) {
	same(t, "the kind of row", v.what, "uas_scale")
	s, ok := ScalingOf(unhex(t, v.request)[0])
	same(t, "known", ok, true)
	want := map[string]float64{"true": 1, "false": 0}[v.expected]
	if v.unit != "bool" {
		want = parse(t, v.expected)
	}
	tolerance := 0.03
	if want != math.Trunc(want) || want == 0 {
		tolerance = 0.003
	}
	near(t, "the value", s.Value(word(unhex(t, v.response))), want, tolerance)
	same(t, "Unit", s.Unit, writtenUnit(v.unit))
}

func checkVIN(t *testing.T, v vector) {
	vin, err := DecodeVIN(protocolOf(v.what), v.messages)
	must(t, err)
	same(t, "VIN", vin, v.expected)
}

func checkCalibrations(t *testing.T, v vector) {
	ids, err := DecodeCalibrations(CAN11At500, v.messages)
	must(t, err)
	same(t, "the calibrations", strings.Join(ids, " "), v.expected)
}

func checkCVNs(t *testing.T, v vector) {
	cvns, err := DecodeCVNs(CAN11At500, v.messages)
	must(t, err)
	same(t, "the numbers", strings.Trim(fmt.Sprint(cvns), "[]"), v.expected)
}

func checkECUName(t *testing.T, v vector) {
	acronym, name, err := DecodeECUName(CAN11At500, v.messages)
	must(t, err)
	same(t, "the name", acronym+" / -"+name, v.expected)
}

var refusal = regexp.MustCompile(`^service ([0-9A-F]{2}): ([a-z -]+?)( \(keep waiting\))?$`)

func checkNegative(t *testing.T, v vector) {
	n, ok := DecodeNegative(v.messages[0])
	same(t, "a refusal", ok, true)
	want := refusal.FindStringSubmatch(v.expected)
	if want == nil {
		t.Fatalf("cannot read %q", v.expected)
	}
	same(t, "service", fmt.Sprintf("%02X", byte(n.Service)), want[1])
	same(t, "Pending", n.Pending(), want[3] != "")
	same(t, "Unsupported", n.Unsupported(), want[3] == "")
	meaning := map[string]string{
		"response pending": "answer still coming", "not supported in active session": "not supported in the active session",
	}[want[2]]
	if meaning == "" {
		meaning = want[2]
	}
	same(t, "Meaning", n.Meaning(), meaning)
}

// TestScalingTable compares the whole table with uas.csv: every id, and no other.
func TestScalingTable(t *testing.T) {
	rows := readCSV(t, "uas.csv")
	same(t, "the number of rows", len(rows), 92)
	listed := map[byte]bool{}
	for _, row := range rows {
		id := unhex(t, row[0])[0]
		listed[id] = true
		s, ok := ScalingOf(id)
		same(t, row[0]+" known", ok, true)
		same(t, row[0]+" sign", s.Signed, row[1] == "true")
		same(t, row[0]+" unit", s.Unit, writtenUnit(row[4]))
		scale, offset := parse(t, row[2]), parse(t, row[3])
		near(t, row[0]+" at 0", s.Value(0), offset, 1e-12)
		near(t, row[0]+" at 1", s.Value(1), scale+offset, 1e-12*(1+math.Abs(offset)))
		top, bottom := 32767.0, 65535.0
		if s.Signed {
			bottom = -1
		}
		if id == 0x2E { // any bit set
			top, bottom = 1, 1
		}
		near(t, row[0]+" at 7FFF", s.Value(0x7FFF), top*scale+offset, 1e-9*(1+math.Abs(top*scale)))
		near(t, row[0]+" at FFFF", s.Value(0xFFFF), bottom*scale+offset, 1e-9*(1+math.Abs(bottom*scale)))
	}
	for id := range 256 {
		if _, ok := ScalingOf(byte(id)); ok != listed[byte(id)] {
			t.Errorf("scaling %02X is known: %v", id, ok)
		}
	}
}

// TestCodeTable compares the list of codes with misfire-codes.csv.
func TestCodeTable(t *testing.T) {
	rows := readCSV(t, "misfire-codes.csv")
	same(t, "the number of codes", len(codeTable), len(rows))
	for _, row := range rows {
		code, err := ParseCode(row[0])
		must(t, err)
		got := DescribeCode(code)
		cylinder := 0
		if row[2] != "" {
			cylinder = int(parse(t, row[2]))
		}
		same(t, row[0], got, CodeInfo{Code: code, Meaning: row[1], Cylinder: cylinder, Kind: CodeKind(row[3]), Known: true})
		same(t, row[0], code.String(), row[0])
		if n, ok := code.MisfireCylinder(); ok || got.Kind == KindMisfire && cylinder > 0 {
			same(t, row[0]+" cylinder", n, cylinder)
		}
	}
	for i := 1; i < len(codeTable); i++ {
		if codeTable[i-1].Code >= codeTable[i].Code {
			t.Errorf("%v stands before %v", codeTable[i-1].Code, codeTable[i].Code)
		}
	}
}
