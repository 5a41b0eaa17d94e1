package car

import "testing"

// BenchmarkTenMinutes is ten simulated minutes of the Wren, with and without a tester that asks 40 times a
// second for live data and counts.
func BenchmarkTenMinutes(b *testing.B) {
	b.Run("alone", func(b *testing.B) {
		for b.Loop() {
			mustScenario(b, "wren", 1).State(after(600))
		}
	})
	b.Run("asked", func(b *testing.B) {
		live, counts := []byte{0x01, 0x0C, 0x04, 0x0D, 0x05, 0x65, 0xA4}, []byte{0x06, 0xA3}
		b.ReportAllocs()
		var buf []Answer
		for b.Loop() {
			c := mustScenario(b, "wren", 1)
			for i := range 24000 {
				request := live
				if i%3 > 0 {
					request = counts
				}
				buf = c.Request(buf[:0], after(float64(i)/40), 0, request)
			}
		}
	})
	b.Run("six cylinders", func(b *testing.B) {
		for b.Loop() {
			mustScenario(b, "curlew-lean-bank", 1).State(after(600))
		}
	})
}
