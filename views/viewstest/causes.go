package viewstest

import (
	"testing"

	"github.com/stretchr/testify/require"

	"stumble/misfire/cause"
	"stumble/misfire/engine"
	"stumble/obd"
	"stumble/views/report"
)

// Causes is causes of a car with those codes.
func Causes(t testing.TB, codes ...obd.Code) *report.Causes {
	t.Helper()
	layout, err := engine.Find("v6-along-142536")
	require.NoError(t, err)
	e := cause.Evidence{Engine: layout, Ignition: cause.CoilOnPlug, Codes: cause.Codes{Read: true, Set: codes}}
	return &report.Causes{Job: 3, Drives: "drive 5,\x1b[2J running", Ignition: e.Ignition, Result: cause.StandardBook().Explain(e)}
}
