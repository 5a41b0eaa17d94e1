package car

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// checkDigit is the ninth character a VIN must have: 49 CFR 565.15(c), from memory, proved on the regulation's
// often-printed example below.
func checkDigit(vin string) byte {
	const letters, worth = "ABCDEFGHJKLMNPRSTUVWXYZ", "12345678123457923456789"
	weights := [17]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}
	sum := 0
	for i := range 17 {
		value := int(vin[i] - '0')
		if at := strings.IndexByte(letters, vin[i]); at >= 0 {
			value = int(worth[at] - '0')
		}
		sum += value * weights[i]
	}
	return "0123456789X"[sum%11]
}

func TestVINs(t *testing.T) {
	require.Equal(t, byte('X'), checkDigit("1M8GDM9AXKP042788"))
	require.Equal(t, byte('1'), checkDigit("11111111111111111"))
	for _, s := range Scenarios() {
		vin := s.Config.Vehicle.VIN
		assert.Equal(t, checkDigit(vin), vin[8], vin)
		assert.NotContains(t, vin, "I")
		assert.NotContains(t, vin, "O")
		assert.NotContains(t, vin, "Q")
		assert.Equal(t, "0LK", vin[:3], "the invented maker")
	}
}

// obd-wire-facts section 3.
func TestInfoOnCAN(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	vin := ask(c, 1, EngineNode, 0x09, 0x02)
	assert.Equal(t, append([]byte{0x49, 0x02, 1}, Wren().VIN...), vin)
	assert.Len(t, vin, 20)
	bits := ask(c, 1, EngineNode, 0x09, 0x00)
	assert.Equal(t, []byte{0x49, 0x00, 0x55, 0x40, 0, 0}, bits)
	cal := ask(c, 1, EngineNode, 0x09, 0x04)
	require.Len(t, cal, 3+16)
	assert.Equal(t, Wren().Calibration+"\x00\x00", string(cal[3:]))
	use := ask(c, 1, EngineNode, 0x09, 0x08)
	assert.Len(t, use, 3+2*int(use[2]))
	for node, start := range map[byte]string{EngineNode: "ECM\x00-", TransmissionNode: "TCM\x00-"} {
		name := ask(c, 1, node, 0x09, 0x0A)
		require.Len(t, name, 3+20)
		assert.Equal(t, start, string(name[3:8]))
	}
	assert.Len(t, ask(c, 1, TransmissionNode, 0x09, 0x04), 19)
	assert.Nil(t, ask(c, 1, TransmissionNode, 0x09, 0x02), "the engine module has the VIN")
	assert.Nil(t, ask(c, 1, EngineNode, 0x09, 0x0C))
	assert.Nil(t, ask(c, 1, EngineNode, 0x09))
}

// The verification number takes its time: 7F 09 78 first (obd-wire-facts section 3).
func TestVerificationComesLate(t *testing.T) {
	c := mustScenario(t, "wren", 1)
	want := []byte{0x49, 0x06, 1, 0x5A, 0x17, 0xC3, 0xE2}
	answers := c.Request(nil, after(1), EngineNode, []byte{0x09, 0x06})
	require.Len(t, answers, 2)
	assert.Equal(t, []byte{0x7F, 0x09, 0x78}, answers[0].Data)
	assert.Equal(t, want, answers[1].Data)
	assert.Greater(t, answers[1].Delay, time.Second)
	assert.Equal(t, [][]byte{want}, all(c, 2, EngineNode, 0x09, 0x06), "known from then on")
	c.Do(after(2), KeyOff, 5*time.Second)
	assert.Len(t, all(c, 12, EngineNode, 0x09, 0x06), 2, "until the key is turned off")

	both := c.Request(nil, after(13), 0, []byte{0x09, 0x06})
	assert.Len(t, both, 2)
	c.Do(after(13), KeyOff, 2*time.Second)
	both = c.Request(nil, after(20), 0, []byte{0x09, 0x06})
	require.Len(t, both, 3)
	assert.Equal(t, byte(0x18), both[1].Module, "the transmission answers while the engine checks")
}

// Before CAN: messages of four data bytes numbered from 1, three zeros ahead of the VIN (obd-wire-facts section 3).
func TestInfoBeforeCAN(t *testing.T) {
	for _, name := range []string{"rook", "rook-kwp", "rook-vpw", "rook-pwm"} {
		c := mustScenario(t, name, 1)
		assert.Equal(t, []byte{0x49, 0x00, 0x01, 0xFC, 0, 0, 0}, ask(c, 1, 0, 0x09, 0x00))
		for _, k := range []struct {
			item, messages byte
			text           string
		}{
			{0x02, 5, "\x00\x00\x00" + Rook().VIN}, {0x04, 4, Rook().Calibration + "\x00\x00\x00\x00"}, {0x06, 1, "\x00\x00\xE4\x1C"},
		} {
			assert.Equal(t, []byte{0x49, k.item - 1, k.messages}, ask(c, 1, 0, 0x09, k.item-1))
			text := ""
			for i, m := range all(c, 1, 0, 0x09, k.item) {
				require.Len(t, m, 7)
				require.Equal(t, []byte{0x49, k.item, byte(i + 1)}, m[:3])
				text += string(m[3:])
			}
			assert.Equal(t, k.text, text)
		}
	}
}
