package report_test

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/views/report"
	"stumble/views/wire"
)

func indented(t *testing.T, v any) string {
	out, err := json.MarshalIndent(v, "", "  ")
	require.NoError(t, err)
	return string(out) + "\n"
}

// What is printed can be read back by the same types, and says the same then.
func TestObjectsRoundTrip(t *testing.T) {
	for name, i := range report.Intakes(t) {
		var intake wire.Intake
		printed := indented(t, wire.NewIntake(i))
		require.NoError(t, json.Unmarshal([]byte(printed), &intake), name)
		assert.Equal(t, printed, indented(t, intake), name)
		var codes wire.Codes
		printed = indented(t, wire.NewCodes(&i.CodeReport))
		require.NoError(t, json.Unmarshal([]byte(printed), &codes), name)
		assert.Equal(t, printed, indented(t, codes), name)
	}
}

func TestGoldenObjects(t *testing.T) {
	for name, i := range report.Intakes(t) {
		report.Golden(t, "intake-"+name+".json", indented(t, wire.NewIntake(i)))
		report.Golden(t, "codes-"+name+".json", indented(t, wire.NewCodes(&i.CodeReport)))
	}
}

// The object of a simulated car holds all that was read of it.
func TestObjectOfASimulatedCar(t *testing.T) {
	i := report.SimulatedIntake(t, "wren")
	object := wire.NewIntake(i)
	assert.Equal(t, i.VIN, string(object.VIN))
	assert.Len(t, object.Live, len(i.Live))
}

// A list is never null and a number never NaN, whatever comes in.
func TestObjectsOfNothing(t *testing.T) {
	r := obd.CodeReport{Modules: []obd.ModuleCodes{{Module: obd.Module{ID: 0x7E8, Bits: 11}}}, Frames: []obd.FreezeFrame{{Module: obd.Module{ID: 0x7E8, Bits: 11}, Code: 0x0301}}}
	got, err := json.Marshal(wire.NewCodes(&r))
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"codes","modules":[{"module":"7E8","stored":[],"pending":[],"permanent":[],"uds":false,"status":[]}],
		"freeze_frames":[{"module":"7E8","frame":0,"code":"P0301","readings":[]}],"unread":[]}`, string(got))

	got, err = json.Marshal(wire.NewIntake(&obd.Intake{}))
	require.NoError(t, err)
	assert.JSONEq(t, `{"kind":"intake","at":null,"adapter":"","protocol":{"number":0,"name":"not known yet"},"voltage":null,
		"vin":null,"vin_check_digit_ok":null,"modules":[],"codes":{"modules":[],"freeze_frames":[],"unread":[]},"tests":[],
		"legacy_tests":[],"misfire_counts":[],"live":[],"unread":[]}`, string(got))

	got, err = json.Marshal(wire.NewIntake(report.OddIntake()))
	require.NoError(t, err)
	assert.Contains(t, string(got), `{"module":"7E8","pid":"0C","name":"engine speed","value":null,"unit":"rpm"}`)
}
