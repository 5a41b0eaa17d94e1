package vehicle

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/elm"
)

// meter is an adapter's voltmeter.
type meter struct{ err error }

func (m meter) Voltage(context.Context) (float64, error) { return 12.4, m.err }
func (m meter) Identity() string                         { return "ELM327 v1.4b" }

// intakeScript is a car of two modules with published answers where there are any.
func intakeScript(t *testing.T) *script {
	return newScript(t, obd.CAN11At500, map[string]string{
		"0100": "7E8=4100" + supports(0, 0x01, 0x04, 0x06, 0x0C, 0x0D, 0x20) + " 7E9=4100" + supports(0, 0x0C),
		"0120": "7E8=4120" + supports(0x20, 0x40),
		"0140": "7E8=4140" + supports(0x40, 0x41, 0x42),
		"0600": "7E8=4600" + supports(0, 0x01, 0x20), "0620": "7E8=4620" + supports(0x20, 0x21),
		"0900": "7E8=4900" + supports(0, 0x02, 0x04, 0x06, 0x0A) + " 7E9=4900" + supports(0, 0x04, 0x06),
		"03":   "7E8=4301012C", "07": "7E8=4700", "0A": "7E8=4A00", "020200": "7E8=4202000000",
		"0902": "7E8=" + published(t, "0902", "vin"),
		"0904": "7E8=" + published(t, "0904", "calibration_id") + " 7E9=" + published(t, "0904", "calibration_ids"),
		"0906": "7E8=490601AABBCCDD 7E9=" + published(t, "0906", "cvns"),
		"090A": "7E8=" + published(t, "090A", "ecu_name"),
		"0101": "7E8=" + published(t, "0101", "mil"), "0141": "7E8=" + published(t, "0141", "misfire_enabled"),
		"0601": "7E8=" + published(t, "0601", "test_count"), "0621": "7E8=" + published(t, "0621", "not_run_all_zero"),
		"01040C0D42": "7E8=41040C04FF0C1AF80D4A42300C 7E9=410C1AF8", "0106": "7E8=410680",
	})
}

func TestIntake(t *testing.T) {
	car := intakeScript(t)
	car.said["01040C0D42"] = "7E8=4104FF0C1AF80D4A42300C 7E9=410C1AF8"
	caps, err := Discover(t.Context(), car)
	require.NoError(t, err)
	asked := len(car.asked)
	var parts []string
	in, err := ReadIntake(t.Context(), car, meter{}, caps, func(part string) { parts = append(parts, part) })
	require.NoError(t, err)
	assert.Equal(t, []string{"03", "07", "0A"}, car.asked[asked:asked+3], "the evidence first")
	assert.Equal(t, "trouble codes and freeze frame", parts[0])
	assert.Len(t, parts, 8)
	assert.Empty(t, in.Unread)
	assert.Equal(t, "1D4GP00R55B123456", in.VIN)
	assert.False(t, in.VINCheck, "the data sheet's example has no right check digit")
	assert.Equal(t, 12.4, in.Voltage)
	assert.Equal(t, "ELM327 v1.4b", in.Adapter)
	assert.False(t, in.At.IsZero())
	assert.Equal(t, "P012C", codeTexts(in.CodeReport.Modules[0].Stored))
	require.Len(t, in.Modules, 2)
	engine, other := in.Modules[0], in.Modules[1]
	assert.Equal(t, "ECM Engine Control", engine.Name)
	assert.Equal(t, []string{"56028949AC"}, engine.Calibrations)
	assert.Equal(t, []string{"ABCDEFGHIJKLMNOP", "ABCDEFGHIJKLMNOP"}, other.Calibrations)
	assert.Equal(t, "[AABBCCDD]", fmt.Sprint(engine.CVNs))
	assert.Equal(t, "[41424344 45464748]", fmt.Sprint(other.CVNs))
	require.NotNil(t, engine.Monitors)
	assert.True(t, engine.Monitors.MIL)
	assert.Equal(t, 1, engine.Monitors.Codes)
	require.NotNil(t, engine.ThisCycle)
	assert.Nil(t, other.Monitors)
	require.Len(t, in.Tests, 4)
	assert.True(t, in.Tests[3].NotRun)
	var live []string
	for _, x := range in.Live {
		live = append(live, fmt.Sprintf("%v %02X %g", x.Module, x.ID, x.Value))
	}
	assert.Equal(t, []string{"7E8 04 100", "7E8 0C 1726", "7E8 0D 74", "7E8 42 12.3", "7E9 0C 1726", "7E8 06 0"}, live)
}

// A module that answers only the first of several PIDs, or none, or an adapter that is overrun: each value is had
// by asking for less.
func TestIntakeAsksForLess(t *testing.T) {
	for name, test := range map[string]struct {
		said map[string]string
		err  error
	}{
		"only the first":  {said: map[string]string{"01040C0D42": "7E8=4104FF"}},
		"only some":       {said: map[string]string{"01040C0D42": "7E8=4104FF0D4A"}},
		"none":            {said: map[string]string{"01040C0D42": ""}},
		"refused":         {said: map[string]string{"01040C0D42": "7E8=7F0112"}},
		"adapter overrun": {err: elm.BufferFull},
		"garbled":         {err: elm.Garbled},
	} {
		t.Run(name, func(t *testing.T) {
			car := intakeScript(t)
			caps, err := Discover(t.Context(), car)
			require.NoError(t, err)
			car.said["01040C0D42"] = ""
			car.said["01040C"] = ""
			for k, v := range test.said {
				car.said[k] = v
			}
			for k, v := range map[string]string{"0104": "7E8=4104FF", "010C": "7E8=410C1AF8 7E9=410C1AF8", "010D": "7E8=410D4A", "0142": "7E8=4142300C"} {
				car.said[k] = v
			}
			car.fails = func(req string) error {
				if strings.HasPrefix(req, "01") && len(req) > 4 {
					return test.err
				}
				return nil
			}
			in, err := ReadIntake(t.Context(), car, meter{}, caps, nil)
			require.NoError(t, err)
			have := map[byte]float64{}
			for _, x := range in.Live {
				have[x.ID] = x.Value
			}
			want := map[byte]float64{0x04: 100, 0x06: 0, 0x0C: 1726, 0x0D: 74, 0x42: 12.3}
			assert.Equal(t, want, have)
		})
	}
}

// What was not answered the first time is asked for again at the end, and only then noted.
func TestIntakeAsksTwice(t *testing.T) {
	car := intakeScript(t)
	car.said["01040C0D42"] = "7E8=4104FF0C1AF80D4A42300C 7E9=410C1AF8"
	caps, err := Discover(t.Context(), car)
	require.NoError(t, err)
	busy := map[string]int{"0141": 1, "0601": 1, "0902": 1, "0621": 2, "090A": 2}
	car.fails = func(req string) error {
		if busy[req]--; busy[req] >= 0 {
			return elm.NoData
		}
		return nil
	}
	in, err := ReadIntake(t.Context(), car, meter{}, caps, nil)
	require.NoError(t, err)
	assert.Equal(t, "1D4GP00R55B123456", in.VIN)
	assert.NotNil(t, in.Modules[0].ThisCycle)
	assert.Len(t, in.Tests, 3, "0601 came, 0621 never did")
	assert.Equal(t, []obd.Unread{
		{What: obd.UnreadNames, Why: "no answer from the car (NO DATA)"},
		{What: obd.UnreadTest, ID: 0x21, Why: "no answer from the car (NO DATA)"},
	}, in.Unread)
}

// What stands in the notes, and what ends an intake: then with what was read until there.
// unreadAs is what could not be read with its number and module, and why.
func unreadAs(u *obd.Unread) string {
	text := string(u.What)
	if u.ID != 0 {
		text += fmt.Sprintf(" %02X", u.ID)
	}
	if u.Module != nil {
		text += fmt.Sprintf(" %v", u.Module)
	}
	return text + ": " + u.Why
}

func TestIntakeNotes(t *testing.T) {
	lost := errors.New("the plug was pulled")
	for name, test := range map[string]struct {
		fails  map[string]error
		said   map[string]string
		volts  error
		unread string
		want   error
	}{
		"voltage not known":   {volts: fmt.Errorf("ATRV: %w", elm.NotUnderstood), unread: "voltage: the adapter does not know this command"},
		"pending for good":    {fails: map[string]error{"0906": obd.NegativeResponse{Service: 9, Code: 0x78}}, unread: "cvns: module"},
		"status cut short":    {said: map[string]string{"0101": "7E8=410181"}, unread: "monitors 7E8: "},
		"test cut short":      {said: map[string]string{"0621": "7E8=" + published(t, "0601", "test_count_truncated")}, unread: "test 21 7E8: "},
		"number too short":    {said: map[string]string{"0902": "7E8=49020131443447"}, unread: "vin 7E8: "},
		"value cut short":     {said: map[string]string{"0106": "7E8=4106"}, unread: "live 7E8: "},
		"refused value":       {said: map[string]string{"0106": "7E8=7F0131"}, unread: "pid 06: module 7E8 refused"},
		"garbled names":       {fails: map[string]error{"090A": elm.Garbled}, unread: "module_names: the answer arrived garbled"},
		"lost at the voltage": {volts: lost, want: lost},
		"lost at the VIN":     {fails: map[string]error{"0902": lost}, want: lost},
		"lost at the status":  {fails: map[string]error{"0101": lost}, want: lost},
		"lost at the tests":   {fails: map[string]error{"0601": lost}, want: lost},
		"lost at the values":  {fails: map[string]error{"01040C0D42": lost}, want: lost},
		"lost at one value":   {fails: map[string]error{"0106": lost}, want: lost},
		"ignition turned off": {fails: map[string]error{"0904": elm.NoVehicle}, want: elm.NoVehicle},
	} {
		t.Run(name, func(t *testing.T) {
			car := intakeScript(t)
			car.said["01040C0D42"] = "7E8=4104FF0C1AF80D4A42300C 7E9=410C1AF8"
			caps, err := Discover(t.Context(), car)
			require.NoError(t, err)
			for k, v := range test.said {
				car.said[k] = v
			}
			car.fails = func(req string) error { return test.fails[req] }
			in, err := ReadIntake(t.Context(), car, meter{test.volts}, caps, nil)
			require.NotNil(t, in)
			assert.Equal(t, "P012C", codeTexts(in.CodeReport.Modules[0].Stored))
			if test.want != nil {
				assert.ErrorIs(t, err, test.want)
				return
			}
			require.NoError(t, err)
			require.Len(t, in.Unread, 1)
			assert.Contains(t, unreadAs(&in.Unread[0]), test.unread)
			assert.NotContains(t, in.Unread[0].Why, "\n")
		})
	}
}

// An intake before CAN: one PID a request, the VIN in five messages and the tests without units, all published.
func TestIntakeBeforeCAN(t *testing.T) {
	split := func(row, what string) string {
		return "10=" + strings.ReplaceAll(published(t, row, what), "|", " 10=")
	}
	car := newScript(t, obd.J1850VPW, map[string]string{
		"0100": "10=4100" + supports(0, 0x01, 0x04, 0x0C), "0900": "10=490001" + supports(0, 0x01, 0x02),
		"0600": "10=4600FF" + supports(0, 0x06), "0606": split("0606", "pre_can_component_03_max_limit"),
		"0902": split("0902", "vin_pre_can_5_messages"), "03": "10=43000000000000", "07": "10=47000000000000",
		"0101": "10=" + published(t, "0101", "dtc_count"), "0104": "10=4104FF", "010C": "10=410C1AF8",
	})
	caps, err := Discover(t.Context(), car)
	require.NoError(t, err)
	in, err := ReadIntake(t.Context(), car, meter{}, caps, nil)
	require.NoError(t, err)
	assert.Equal(t, "1D4GP00R55B123456", in.VIN)
	require.Len(t, in.Legacy, 4)
	assert.EqualValues(t, 3, in.Legacy[0].Component)
	assert.EqualValues(t, 90, in.Legacy[0].Value)
	assert.EqualValues(t, 40000, in.Legacy[0].Limit)
	assert.Len(t, in.Live, 2)
	assert.Empty(t, in.Tests)
	assert.Equal(t, []obd.Unread{{What: obd.UnreadFrame, Why: "no answer from the car (NO DATA)"}}, in.Unread)
	assert.Zero(t, car.count("01040C"))

	vin, check, err := ReadVIN(t.Context(), car, caps)
	require.NoError(t, err)
	assert.Equal(t, "1D4GP00R55B123456", vin)
	assert.False(t, check)
}

func TestReadVIN(t *testing.T) {
	car := intakeScript(t)
	caps, err := Discover(t.Context(), car)
	require.NoError(t, err)
	// The widely published worked example of the check digit of 49 CFR 565.15(c), told here by the other module.
	car.said["0902"] = fmt.Sprintf("7E9=490201%X", "1M8GDM9AXKP042788")
	vin, check, err := ReadVIN(t.Context(), car, caps)
	require.NoError(t, err)
	assert.Equal(t, "1M8GDM9AXKP042788", vin)
	assert.True(t, check)

	car.said["0902"] = ""
	vin, _, err = ReadVIN(t.Context(), car, caps)
	require.NoError(t, err)
	assert.Empty(t, vin)

	lost := errors.New("the plug was pulled")
	car.fails = func(string) error { return lost }
	_, _, err = ReadVIN(t.Context(), car, caps)
	require.ErrorIs(t, err, lost)

	before := len(car.asked)
	vin, _, err = ReadVIN(t.Context(), car, &Capabilities{Protocol: obd.CAN11At500, Modules: []Module{{Info: obd.Support{1 << 28}}}})
	require.NoError(t, err)
	assert.Empty(t, vin)
	assert.Len(t, car.asked, before, "a car whose engine module lists others and not that is not asked")
}
