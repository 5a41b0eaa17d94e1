package obd

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
)

func TestCodeText(t *testing.T) {
	for i := range 1 << 16 {
		c := Code(i)
		back, err := ParseCode(c.String())
		if err != nil || back != c {
			t.Fatalf("%v came back as %v: %v", c, back, err)
		}
	}
	same(t, "U3FFF", Code(0xFFFF).String(), "U3FFF") // SAE J2012: the last code
	c, err := ParseCode(" p02cd\n")
	must(t, err)
	same(t, "lower case", c, 0x02CD)
	for _, wrong := range []string{"", "P", "P030", "P03011", "X0301", "P4000", "P03G1", "P-301", "P+301", "0301P", "P030\x00", "P_301"} {
		if c, err := ParseCode(wrong); err == nil {
			t.Errorf("%q is %v", wrong, c)
		}
	}
	text, err := json.Marshal(map[string]Code{"code": 0x0301})
	must(t, err)
	same(t, "JSON", string(text), `{"code":"P0301"}`)
	var back struct{ Code Code }
	must(t, json.Unmarshal(text, &back))
	same(t, "from JSON", back.Code, 0x0301)
	same(t, "wrong JSON", json.Unmarshal([]byte(`{"code":"Z0301"}`), &back) != nil, true)
}

// TestMisfireCodes: P0301 to P0312 and nothing else; the digits count in tens (SAE J2012).
func TestMisfireCodes(t *testing.T) {
	want := map[Code]int{}
	for cylinder := 1; cylinder <= 12; cylinder++ {
		c, err := ParseCode(fmt.Sprintf("P03%02d", cylinder))
		must(t, err)
		want[c] = cylinder
	}
	for i := range 1 << 16 {
		got, ok := Code(i).MisfireCylinder()
		if got != want[Code(i)] || ok != (got != 0) {
			t.Fatalf("%v: %d, %v", Code(i), got, ok)
		}
	}
}

func TestDecodeCodes(t *testing.T) {
	tests := []struct {
		name     string
		protocol Protocol
		answer   string
		want     string
		wrong    bool
	}{
		{"none", CAN11At500, "43 00", "", false},
		{"padding after none", CAN11At500, "43 00 AA AA AA AA AA", "", false},
		{"what follows the count is not read", CAN29At500, "47 01 03 01 03 02", "P0301", false},
		{"more counted than came", CAN11At500, "43 03 03 01 03 02", "P0301 P0302", true},
		{"cut inside a code", CAN11At500, "43 02 03 01 03", "P0301", true},
		{"no count", CAN11At500, "43", "", true},
		{"three before CAN", ISO9141, "43 03 01 03 02 03 04", "P0301 P0302 P0304", false},
		{"fillers before CAN", KWPFast, "47 03 01 00 00 00 00", "P0301", false},
		{"cut inside a code before CAN", J1850PWM, "43 03 01 03", "P0301", true},
		{"nothing before CAN", J1850PWM, "43", "", true},
		{"bus not known", ProtocolUnknown, "43 00", "", true},
		{"another service", CAN11At500, "41 0C 1A F8", "", true},
		{"refused", CAN11At500, "7F 0A 11", "", true},
		{"empty", CAN11At500, "", "", true},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			codes, err := DecodeCodes(test.protocol, message(t, test.answer))
			same(t, "an error", err != nil, test.wrong)
			same(t, "codes", strings.Trim(fmt.Sprint(codes), "[]"), test.want)
		})
	}
}

func TestMeaningOutsideTheList(t *testing.T) {
	groups := map[string]string{
		"P0001": "fuel and air", "P0199": "fuel and air", "P02FF": "injector", "P03FF": "ignition", "P04FF": "emission",
		"P05FF": "idle", "P06FF": "control module", "P07FF": "transmission", "P09FF": "transmission", "P0AFF": "hybrid",
		"P0DFF": "powertrain code", "P1300": "maker's", "P2FFF": "powertrain code", "P3000": "maker's", "P3400": "powertrain code",
		"C0001": "chassis", "B0001": "body", "U0100": "communication",
	}
	for text, want := range groups {
		code, err := ParseCode(text)
		must(t, err)
		info := DescribeCode(code)
		same(t, text+" known", info.Known, false)
		same(t, text+" kind", info.Kind, KindOther)
		if !strings.Contains(info.Meaning, want) {
			t.Errorf("%s is said to be %q", text, info.Meaning)
		}
		same(t, text, code.Meaning(), info.Meaning)
	}
}

// TestMonitorTables names every bit of SAE J1979's PID 01, for both kinds of engine.
func TestMonitorTables(t *testing.T) {
	spark := "misfire, fuel system, components, catalyst, heated catalyst, fuel vapour system, secondary air, " +
		"refrigerant or particulate filter, oxygen sensor, oxygen sensor heater, exhaust recirculation or valve timing"
	compression := "misfire, fuel system, components, NMHC catalyst, NOx aftertreatment, boost pressure, " +
		"exhaust gas sensor, particulate filter, exhaust recirculation or valve timing"
	check := func(b, want string) {
		m, err := DecodeMonitors(message(t, "41 01 00 "+b+" FF FF"), PIDStatus)
		must(t, err)
		var names []string
		for _, s := range m.States {
			names = append(names, s.Monitor.String())
			same(t, s.Monitor.String()+" complete", s.Complete, false)
		}
		same(t, "the monitors", strings.Join(names, ", "), want)
		same(t, "Incomplete", m.Incomplete(), len(names))
	}
	check("77", spark)
	check("7F", compression)

	// One bit at a time: bit k of C alone supports exactly one monitor.
	for k, want := range []Monitor{
		MonitorCatalyst, MonitorHeatedCatalyst, MonitorVapour, MonitorSecondaryAir,
		MonitorCooling, MonitorOxygen, MonitorOxygenHeater, MonitorExhaust,
	} {
		m, err := DecodeMonitors(message(t, fmt.Sprintf("41 41 80 00 %02X 00", 1<<k)), PIDStatusThisCycle)
		must(t, err)
		same(t, "PID 41 tells no lamp", m.MIL, false)
		for _, s := range m.States {
			same(t, s.Monitor.String(), s.Supported && s.Complete, s.Monitor == want)
		}
	}
	m, err := DecodeMonitors(message(t, "41 0C 1A F8 01 81 07 65 04"), PIDStatus)
	must(t, err)
	same(t, "among other PIDs", m.MIL, true)
	_, has := m.State(MonitorBoost)
	same(t, "a petrol engine's boost monitor", has, false)
	same(t, "no such monitor", Monitor(99).String(), "monitor 99")
	text, err := MonitorFuel.MarshalText()
	must(t, err)
	same(t, "text", string(text), "fuel system")
	for answer, pid := range map[string]byte{"41 0C 1A F8": PIDStatus, "41 01 81 07": PIDStatus, "41 01 81 07 65 04": PIDRPM, "7F 01 11": PIDStatus} {
		if _, err := DecodeMonitors(message(t, answer), pid); err == nil {
			t.Errorf("%s: no error", answer)
		}
	}
}

func TestSupport(t *testing.T) {
	list := func(s Support) string {
		return strings.Trim(fmt.Sprintf("%X", slices.Collect(s.All())), "[]")
	}
	var s Support
	must(t, s.Add(CAN11At500, message(t, "41 00 80 00 00 01")))
	must(t, s.Add(CAN11At500, message(t, "41 20 80 00 00 00")))
	same(t, "two answers", list(s), "012021")
	same(t, "00", s.Has(0), false)
	next, ok := s.Next(0)
	same(t, "more after 00", fmt.Sprint(next, ok), "32 true")
	_, ok = s.Next(0x20)
	same(t, "more after 20", ok, false)
	_, ok = s.Next(0xE0)
	same(t, "more after E0", ok, false)

	var all Support
	for base := 0; base < 256; base += 32 {
		must(t, all.Add(CAN11At500, message(t, fmt.Sprintf("46 %02X FF FF FF FF", base))))
	}
	same(t, "every id", len(slices.Collect(all.All())), 255) // the last bitmap's last bit stands for no id
	for id := range all.All() {
		if id == 3 {
			break
		}
		same(t, "after stopping", id < 3, true)
	}

	// Before CAN a byte stands before the bits in services 06 and 09, not in 01 (from memory of the standard).
	for answer, want := range map[string]string{"49 00 01 54 00 00 00": "020406", "46 00 FF 80 00 00 00": "01", "41 00 80 00 00 00": "01"} {
		var s Support
		must(t, s.Add(J1850VPW, message(t, answer)))
		same(t, answer, list(s), want)
	}
	var padded Support
	must(t, padded.Add(CAN11At500, message(t, "49 00 54 00 00 00 55")))
	same(t, "padded on CAN", list(padded), "020406")

	for _, wrong := range []string{"", "41", "41 00 80 00 00", "41 0C 1A F8 00 00", "43 00 00 00 00 00", "7F 01 11", "41 00 80 00 00 00 20 80"} {
		var s Support
		if s.Add(CAN11At500, message(t, wrong)) == nil || s != (Support{}) {
			t.Errorf("%s: no error, or something added", wrong)
		}
	}
	var short Support
	same(t, "short before CAN", short.Add(KWPFast, message(t, "49 00 54 00 00 00")) != nil, true)
}
