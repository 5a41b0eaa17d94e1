package vehicle

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
	"stumble/obd/elm"
)

// capable is the capabilities of modules that support these PIDs.
func capable(p obd.Protocol, modules map[uint32][]byte) *Capabilities {
	c := &Capabilities{Protocol: p}
	for id, pids := range modules {
		m := c.module(obd.Module{ID: id, Bits: bits(p)})
		for _, pid := range pids {
			m.PIDs[(pid-1)/32] |= 1 << (31 - (pid-1)%32)
		}
	}
	return c
}

func codeTexts(codes []obd.Code) string {
	var out []string
	for _, c := range codes {
		out = append(out, c.String())
	}
	return strings.Join(out, " ")
}

// The lists of two modules, each list a published answer, and a frame of each module: 7E8's is the answer of the
// published request 020C0004000500 taken apart, 7E9's is made.
func TestCodesOfTwoModules(t *testing.T) {
	car := newScript(t, obd.CAN11At500, map[string]string{
		"03":     "7E9=4300 7E8=" + published(t, "03", "dtcs_can_multiframe"),
		"07":     "7E8=" + published(t, "07", "pending_can"),
		"0A":     "7E8=" + published(t, "0A", "permanent_can"),
		"020200": "7E8=" + published(t, "020200", "freeze_frame_dtc") + " 7E9=4202000741 7EA=4202000000",
		"020000": "7E8=420000" + supports(0, 0x02, 0x04, 0x05, 0x0C) + " 7E9=420000" + supports(0, 0x02, 0x0D, 0x20),
		"022000": "7E9=422000" + supports(0x20, 0x33),
		"020400": "7E8=42040080",
		"020500": "7E8=42050028",
		"020C00": "7E8=420C002080",
		"020D00": "7E9=420D004A 7EA=420D0010",
		"023300": "7E9=42330063",
	})
	r, err := ReadCodes(t.Context(), car, capable(obd.CAN11At500, nil))
	require.NoError(t, err)
	require.Len(t, r.Modules, 2)
	assert.Equal(t, "7E8", r.Modules[0].Module.String())
	assert.Equal(t, "P0102 P0113 P0123 P0222", codeTexts(r.Modules[0].Stored))
	assert.Equal(t, "P0110 P0148", codeTexts(r.Modules[0].Pending))
	assert.Equal(t, "B1782", codeTexts(r.Modules[0].Permanent), "the published list has two empty places")
	assert.Empty(t, r.Modules[1].Stored)
	assert.Empty(t, r.Unread)

	require.Len(t, r.Frames, 2, "7EA's frame holds nothing")
	assert.Equal(t, "P1407", r.Frames[0].Code.String())
	assert.Equal(t, "7E8", r.Frames[0].Module.String())
	var told []string
	for _, x := range append(r.Frames[0].Readings, r.Frames[1].Readings...) {
		told = append(told, fmt.Sprintf("%v %02X %.3f", x.Module, x.ID, x.Value))
	}
	assert.Equal(t, []string{"7E8 04 50.196", "7E8 05 0.000", "7E8 0C 2080.000", "7E9 0D 74.000", "7E9 33 99.000"}, told)
}

// A car that does not say what its frames hold is asked for all that it supports.
func TestFrameWithoutBitmap(t *testing.T) {
	car := newScript(t, obd.CAN11At500, map[string]string{
		"03": "7E8=4301012C", "020200": "7E8=420200012C", "020C00": "7E8=420C002080", "020D00": "7E8=420D00",
	})
	r, err := ReadCodes(t.Context(), car, capable(obd.CAN11At500, map[uint32][]byte{0x7E8: {0x01, 0x04, 0x0C, 0x0D, 0x41}}))
	require.NoError(t, err)
	assert.Equal(t, []string{"03", "07", "0A", "020200", "020000", "020400", "020C00", "020D00"}, car.asked)
	require.Len(t, r.Frames, 1)
	assert.Len(t, r.Frames[0].Readings, 1)
	require.Len(t, r.Unread, 3, "07, 0A and the speed that came without a value")
	assert.Contains(t, unreadAs(&r.Unread[0]), "pending_codes: no answer from the car")
	assert.Contains(t, unreadAs(&r.Unread[2]), "freeze_frame 7E8")
}

// Before CAN codes come three a message, more in further messages (published), and there are no permanent ones.
func TestCodesBeforeCAN(t *testing.T) {
	two := strings.Split(published(t, "03", "dtcs_pre_can_two_messages"), "|")
	car := newScript(t, obd.ISO9141, map[string]string{"03": "10=" + two[0] + " 10=" + two[1], "07": "10=47000000000000"})
	r, err := ReadCodes(t.Context(), car, capable(obd.ISO9141, nil))
	require.NoError(t, err)
	require.Len(t, r.Modules, 1)
	assert.Equal(t, "P0102 P1120 P1220 P1514 P1515", codeTexts(r.Modules[0].Stored))
	assert.Empty(t, r.Modules[0].Pending)
	assert.NotContains(t, car.asked, "0A")
	assert.Len(t, r.Unread, 1, "the freeze frame, which nobody answered")
}

// Whatever cannot be read is said, on one line; only a lost car or link ends the reading.
func TestUnreadCodes(t *testing.T) {
	lost := errors.New("the plug was pulled")
	for name, test := range map[string]struct {
		fails  map[string]error
		said   map[string]string
		unread string
		want   error
	}{
		"refused":              {fails: map[string]error{"0A": obd.NegativeResponse{Service: 0x0A, Code: 0x11}}, unread: "permanent_codes: module"},
		"garbled":              {fails: map[string]error{"07": elm.Garbled}, unread: "pending_codes: the answer arrived garbled"},
		"cut short":            {said: map[string]string{"03": "7E8=430201"}, unread: "stored_codes 7E8: "},
		"no frame":             {fails: map[string]error{"020200": elm.NoData}, unread: "freeze_frame: no answer"},
		"ignition off":         {fails: map[string]error{"07": elm.CANError}, want: elm.CANError},
		"bus shorted":          {fails: map[string]error{"03": elm.BusBusy}, want: elm.BusBusy},
		"link lost":            {fails: map[string]error{"0A": lost}, want: lost},
		"lost in frame":        {fails: map[string]error{"020400": lost}, want: lost},
		"lost in frame bitmap": {fails: map[string]error{"020000": lost}, want: lost},
		"lost at frame":        {fails: map[string]error{"020200": lost}, want: lost},
	} {
		t.Run(name, func(t *testing.T) {
			said := map[string]string{
				"03": "7E8=4300", "07": "7E8=4700", "0A": "7E8=4A00", "020200": "7E8=4202000302",
				"020000": "7E8=420000" + supports(0, 0x04), "020400": "7E8=42040080",
			}
			for k, v := range test.said {
				said[k] = v
			}
			car := newScript(t, obd.CAN11At500, said)
			car.fails = func(req string) error { return test.fails[req] }
			r, err := ReadCodes(t.Context(), car, capable(obd.CAN11At500, nil))
			if test.want != nil {
				assert.ErrorIs(t, err, test.want)
				return
			}
			require.NoError(t, err)
			require.Len(t, r.Unread, 1)
			assert.Contains(t, unreadAs(&r.Unread[0]), test.unread)
			assert.NotContains(t, r.Unread[0].Why, "\n")
		})
	}
}
