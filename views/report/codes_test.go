package report

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/vehicle"
)

func codesPage(t testing.TB, r *obd.CodeReport) string {
	return text(t, func(b *strings.Builder) error { return WriteCodes(b, r, 400) })
}

func code(t testing.TB, s string) obd.Code {
	t.Helper()
	c, err := obd.ParseCode(s)
	require.NoError(t, err)
	return c
}

// Misfire codes come first, then the order of work: circuits, crank and cam, fuel and air, the rest, and the
// usual victim last (common practice, no source).
func TestOrderOfCodes(t *testing.T) {
	want := strings.Fields("P0300 P0302 P0312 P0316 P0200 P0201 P0261 P0351 P0562 P2301 P0011 P0335 P0340 " +
		"P0087 P0101 P0171 P0263 P029A P029C P0402 P0506 P0325 P0700 B1000 U0100 P0420")
	var codes []obd.Code
	for _, s := range want {
		codes = append(codes, code(t, s))
	}
	slices.Reverse(codes)
	r := &obd.CodeReport{Modules: []obd.ModuleCodes{{Module: engine, Stored: codes[:9], Pending: codes[9:]}}}
	var got []string
	for _, c := range sortedCodes(r) {
		got = append(got, c.String())
	}
	assert.Equal(t, want, got)
	assert.Contains(t, codesPage(t, r), "Order of work: P0200, P0201, P0261, P0351, P0562 and P2301, then P0011, P0335 and P0340, then "+
		"P0087, P0101, P0171, P0263, P029A, P029C, P0402 and P0506, then P0300, P0302, P0312 and P0316, then P0325, P0700, B1000 and U0100, then P0420.")
}

// The codes and what they do to a case are trade knowledge and SAE J2012, both from memory; of each the one
// word is checked that carries the advice.
func TestEffects(t *testing.T) {
	for s, want := range map[string]string{
		"P0300": "common cause", "P0301": "cylinder 1;", "P0309": "cylinder 9;", "P0310": "cylinder 10;", "P0312": "shared coil",
		"P0313": "tank", "P0314": "counts", "P0315": "pattern learned", "P0316": "cold start", "P0363": "restart",
		"P0350": "put it right first", "P0362": "put it right first", "P2300": "put it right first", "P2335": "put it right first",
		"P0200": "electrical", "P0212": "electrical", "P0261": "electrical", "P0295": "electrical",
		"P0263": "Cylinder 1 does too little", "P0296": "Cylinder 12 does too little", "P0266": "Cylinder 2 does too little",
		"P029A": "injector of cylinder 1.", "P02C9": "injector of cylinder 12.", "P029E": "injector of cylinder 2.",
		"P0171": "One bank", "P0174": "One bank", "P0172": "leaking injector", "P0175": "leaking injector",
		"P0335": "feign", "P0349": "feign", "P0008": "chain", "P0025": "chain", "P0100": "fuelling", "P0109": "fuelling",
		"P0325": "pulled back", "P0400": "rough idle", "P0406": "rough idle", "P0420": "misfire first", "P0430": "misfire first",
		"P0562": "charge", "P0563": "charge", "P1234": "Not among", "U0100": "Not among",
	} {
		assert.Contains(t, english(Metric).effect(code(t, s), func(obd.Code) bool { return false }), want, s)
	}
	both := func(obd.Code) bool { return true }
	assert.Contains(t, english(Metric).effect(0x0171, both), "Both banks")
	assert.Equal(t, "Goes with P0171.", english(Metric).effect(0x0174, both))
}

// An unread list is not an empty list.
func TestListStates(t *testing.T) {
	none := []obd.ModuleCodes{{Module: engine}}
	for _, c := range []struct {
		name   string
		report obd.CodeReport
		want   []string
		not    []string
	}{
		{"all read and empty", obd.CodeReport{Modules: none},
			[]string{"stored     none", "pending    none", "permanent  none", en("say-no-codes"), en("say-no-frame")}, []string{"not read"}},
		{"nobody answered", obd.CodeReport{},
			[]string{"stored     not read", "pending    not read", "permanent  not read", en("say-nobody")}, []string{en("say-no-codes"), en("say-no-frame"), "none"}},
		{"one list not read", obd.CodeReport{Modules: none, Unread: []obd.Unread{{What: obd.UnreadPermanent, Why: "refused"}}},
			[]string{"stored     none", "permanent  not read", "- permanent codes: refused"}, []string{en("say-no-codes")}},
		{"one module's list cut short", obd.CodeReport{
			Modules: []obd.ModuleCodes{{Module: engine, Stored: []obd.Code{0x0301}}}, Unread: []obd.Unread{{What: obd.UnreadStored, Module: &engine, Why: "cut"}}},
			[]string{"stored     P0301, perhaps more: not wholly read"}, []string{en("say-no-codes")}},
		{"freeze frame not read", obd.CodeReport{Modules: none, Unread: []obd.Unread{{What: obd.UnreadFrame, Why: "no answer"}}},
			[]string{en("say-no-codes")}, []string{en("say-no-frame")}},
		{"a bus before permanent codes", obd.CodeReport{Modules: []obd.ModuleCodes{{Module: kline}}},
			[]string{"permanent  " + en("word-older"), en("say-no-codes")}, []string{"not read"}},
		{"modules not told apart", obd.CodeReport{Modules: []obd.ModuleCodes{{Stored: []obd.Code{0x0301}}},
			Frames: []obd.FreezeFrame{{Code: 0x0301}}},
			[]string{"Stored.", "Frame 0 holds no reading"}, []string{"module"}},
		{"lists of several modules", obd.CodeReport{Modules: []obd.ModuleCodes{
			{Module: engine, Stored: []obd.Code{0x0301}, Pending: []obd.Code{0x0301, 0x0302}},
			{Module: gears, Stored: []obd.Code{0x0301}, Permanent: []obd.Code{0x0302}}}},
			[]string{"Stored in modules 7E8 and 7E9, pending in module 7E8.", "Pending in module 7E8, permanent in module 7E9."}, nil},
		{"all lists of one module among several", obd.CodeReport{Modules: []obd.ModuleCodes{
			{Module: engine, Stored: []obd.Code{0x0301}, Pending: []obd.Code{0x0301}}, {Module: gears}}},
			[]string{"Stored, pending in module 7E8."}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			page := codesPage(t, &c.report)
			for _, want := range c.want {
				assert.Contains(t, page, want)
			}
			for _, not := range c.not {
				assert.NotContains(t, strings.ReplaceAll(page, en("caution-clear"), ""), not)
			}
		})
	}
}

// mute is a car that answers nothing of what it is asked.
type mute struct{ protocol obd.Protocol }

func (m mute) Do(context.Context, obd.Request) (elm.Answer, error) { return elm.Answer{}, elm.NoData }
func (m mute) Protocol() obd.Protocol                              { return m.protocol }

// What reading notes of codes is known to be about codes.
func TestUnreadIsKnown(t *testing.T) {
	for protocol, lines := range map[obd.Protocol]int{obd.CAN11At500: 4, obd.ISO9141: 3} {
		r, err := vehicle.ReadCodes(t.Context(), mute{protocol}, &vehicle.Capabilities{Protocol: protocol})
		require.NoError(t, err)
		require.Len(t, r.Unread, lines)
		assert.Equal(t, r.Unread, CodesUnread(r.Unread), "each is about codes")
	}
}

func TestFrame(t *testing.T) {
	r := wrenCodes()
	page := codesPage(t, &r)
	assert.Contains(t, page, "Frame 0 of module 7E8: 760 rpm, load 34 %, coolant 88 °C, car at rest, 19 min after the start.")
	assert.Contains(t, page, "375 rpm and 20 % load", "similar conditions, 13 CCR 1968.2 (c), from memory")
	assert.NotContains(t, page, "fuel system 2")
	r.Frames[0].Code = 0x0420
	assert.NotContains(t, codesPage(t, &r), "375 rpm", "the rule is for misfire and fuel codes")
	r = wrenCodes()
	r.Frames[0].Readings = frozen(engine, 0x0C, 3000, 0x0D, 88, 0x1F, 9000)
	page = codesPage(t, &r)
	assert.Contains(t, page, "3000 rpm, 88 km/h, 2 h after the start.")
	assert.NotContains(t, page, "375 rpm", "without a load nothing can be compared")
}

// OddIntake holds what is no number.
func OddIntake() *obd.Intake {
	return &obd.Intake{Voltage: math.NaN(), Live: []obd.Reading{live(engine, 0x0C, math.NaN()), live(engine, 0x06, math.Inf(1))},
		Tests: []obd.TestResult{{MID: 0xA2, TID: 0x80, Value: math.NaN(), MinApplies: true, MinValue: math.Inf(-1)}}}
}

func TestTextOfNoNumbers(t *testing.T) {
	page := text(t, func(b *strings.Builder) error { return WriteIntake(b, OddIntake(), 80) })
	assert.NotContains(t, page, "NaN")
	assert.NotContains(t, page, "Inf")
}
