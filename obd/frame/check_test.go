package frame

import "testing"

// The public catalogue of CRC parameters gives 4B as CRC-8/SAE-J1850 of the digits 1 to 9.
func TestCRCCheckValue(t *testing.T) {
	if got := crc8([]byte("123456789")); got != 0x4B {
		t.Errorf("%02X, want 4B", got)
	}
}

// The sum of ISO 9141-2 and ISO 14230-2 on a published frame: 83 F1 10 41 0D 53 ends in 25.
func TestSumOfPublishedFrame(t *testing.T) {
	if got := sum8([]byte{0x83, 0xF1, 0x10, 0x41, 0x0D, 0x53}); got != 0x25 {
		t.Errorf("%02X, want 25", got)
	}
}
