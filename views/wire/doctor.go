package wire

import (
	"stumble/obd/vehicle"
	"stumble/views/say"
)

// Doctor is an examination of an adapter: {"kind":"doctor",...}.
type Doctor struct {
	Kind     string          `json:"kind"` // "doctor"
	Adapter  string          `json:"adapter"`
	Protocol string          `json:"protocol"`
	Real     bool            `json:"real_version"`
	Lies     bool            `json:"lies"`
	Claims   []DoctorClaim   `json:"claims"`
	Levers   map[string]bool `json:"levers"`
	Modules  int             `json:"modules"`
	Counters int             `json:"counters"`
	Unread   int             `json:"unread_monitors"`
	Asked    int             `json:"asked"`
	Lost     int             `json:"lost"`
	Damaged  int             `json:"damaged"`
	Doubled  int             `json:"doubled"`
	Late     int             `json:"late"`
	Cost     Number          `json:"cost_ms"`
	Every    Number          `json:"count_every_seconds"`
	Speeds   Number          `json:"speeds_per_second"`
	Sentence string          `json:"sentence"`
}

// DoctorClaim is a command of the adapter's.
type DoctorClaim struct {
	Command string `json:"command"`
	Since   string `json:"since"` // the version that brought it
	Due     bool   `json:"due"`   // the adapter's version should know it
	Known   bool   `json:"known"`
}

// NewDoctor makes an examination JSON. It holds nothing that tells one car from another.
func NewDoctor(x *vehicle.Examination, protocol string) Doctor {
	d := Doctor{
		Kind: "doctor", Adapter: x.Identity, Protocol: protocol, Real: x.RealVersion, Lies: x.Lies(), Claims: []DoctorClaim{},
		Levers: map[string]bool{
			"headers": x.Levers.Headers, "one_module": x.Levers.OneModule, "count_digit": x.Levers.Digit, "eager": x.Levers.Eager,
			"waits_as_told": x.WaitsAsTold, "several_values": x.SeveralPIDs, "two_monitors": x.TwoMonitors,
		},
		Modules: x.Modules, Counters: x.Counters, Unread: x.Unread, Asked: x.Asked, Lost: x.Unanswered, Damaged: x.Damaged,
		Doubled: x.Doubled, Late: x.Late, Cost: rounded(float64(x.Cost.Microseconds()) / 1000), Every: unknown(),
		Speeds: rounded(x.SpeedsPerSec), Sentence: say.English().DoctorFinding(x),
	}
	if x.CountEvery > 0 {
		d.Every = rounded(x.CountEvery.Seconds())
	}
	for _, c := range x.Claims {
		d.Claims = append(d.Claims, DoctorClaim{c.Command, c.Since, c.Due, c.Known})
	}
	return d
}
