package frame_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"stumble/obd"
	"stumble/obd/frame"
)

// segment writes a message as the adapter prints its frames with headers on: ISO 15765-2, written here a
// second time so that the assembler is not checked against itself.
func segment(id string, data []byte, pad bool) []string {
	frameLine := func(pci string, d []byte) string {
		s := fmt.Sprintf("%s%s%X", id, pci, d)
		if pad {
			s += strings.Repeat("55", (16-len(pci))/2-len(d))
		}
		return s
	}
	if len(data) < 8 {
		return []string{frameLine(fmt.Sprintf("0%X", len(data)), data)}
	}
	lines := []string{frameLine(fmt.Sprintf("1%03X", len(data)), data[:6])}
	for i, rest := 1, data[6:]; len(rest) > 0; i++ {
		n := min(7, len(rest))
		lines = append(lines, frameLine(fmt.Sprintf("2%X", i%16), rest[:n]))
		rest = rest[n:]
	}
	return lines
}

// interleave merges the modules' lines at random, each in its own order.
func interleave(r *rand.Rand, modules [][]string) []string {
	var out []string
	for {
		modules = slices.DeleteFunc(modules, func(l []string) bool { return len(l) == 0 })
		if len(modules) == 0 {
			return out
		}
		i := r.IntN(len(modules))
		out, modules[i] = append(out, modules[i][0]), modules[i][1:]
	}
}

func randomBytes(r *rand.Rand, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.IntN(256))
	}
	return b
}

// TestRandomExchanges sends random messages of random modules. Undisturbed, all arrive. With frames lost,
// repeated and swapped with a neighbour, whatever arrives is exactly what one of the modules sent.
func TestRandomExchanges(t *testing.T) {
	arrived, sent := 0, 0
	for seed := range uint64(2000) {
		r := rand.New(rand.NewPCG(seed, 15765))
		pad, wide := r.IntN(2) == 0, r.IntN(2) == 0
		format, ids := can11, []string{"7E8", "7E9", "7EA", "7EF"}
		if wide {
			format, ids = can29, []string{"18DAF110", "18DAF111", "18DAF118", "18DAF140"}
		}
		truth := map[string][]byte{}
		var modules [][]string
		for _, id := range ids[:1+r.IntN(len(ids))] {
			size := 1 + r.IntN(60)
			if r.IntN(20) == 0 {
				size = 1 + r.IntN(4095)
			}
			truth[id] = randomBytes(r, size)
			modules = append(modules, segment(id, truth[id], pad))
		}
		sent += len(truth)
		lines := interleave(r, modules)
		checkArrived(t, format, lines, truth, len(truth), seed)
		arrived += checkArrived(t, format, disturb(r, lines), truth, -1, seed)
	}
	if arrived == 0 || arrived == sent {
		t.Errorf("%d of %d disturbed messages arrived: the disturbance tests nothing", arrived, sent)
	}
}

// disturb loses, repeats and swaps lines. A first frame keeps its place: the bus never sends it late.
func disturb(r *rand.Rand, lines []string) []string {
	var out []string
	for _, line := range lines {
		switch r.IntN(12) {
		case 0:
			continue
		case 1:
			out = append(out, line)
		}
		out = append(out, line)
	}
	for i := range len(out) - 1 {
		if r.IntN(10) == 0 {
			out[i], out[i+1] = out[i+1], out[i]
		}
	}
	return out
}

// checkArrived runs one exchange; every message must be true, and count of them must come unless negative.
func checkArrived(t *testing.T, f frame.Format, lines []string, truth map[string][]byte, count int, seed uint64) int {
	t.Helper()
	var a frame.Assembler
	a.Reset(f)
	for _, line := range lines {
		if err := a.Line([]byte(line)); err != nil && !errors.Is(err, frame.ErrOrphan) {
			t.Fatalf("seed %d: %v", seed, err)
		}
	}
	messages, err := a.Messages()
	modules := map[obd.Module]bool{}
	for _, m := range messages {
		if !bytes.Equal(m.Data, truth[m.Module.String()]) {
			t.Fatalf("seed %d: module %v never sent % X", seed, m.Module, m.Data)
		}
		modules[m.Module] = true
	}
	if count >= 0 && (err != nil || len(messages) != count) {
		t.Fatalf("seed %d: %d messages, want %d: %v", seed, len(messages), count, err)
	}
	return len(modules)
}

// TestCorruptDigit changes each digit of a frame before CAN to each other value: the check byte must catch
// all, or the message be the true one (a changed digit in a byte past the stated length, of which there are
// none here). CRC-8 and the sum both catch any change within one byte.
func TestCorruptDigit(t *testing.T) {
	frames := []struct {
		format frame.Format
		line   string
	}{
		{j1850VPW, "486B104100B87B3010F4"},
		{j1850PWM, "416B104100B87B30109E"},
		{iso9141, "486B104100B87B301077"},
		{kwp, "86F1104100B87B30103B"},
	}
	for _, f := range frames {
		for i := range f.line {
			for _, digit := range []byte("0123456789ABCDEF") {
				line := []byte(f.line)
				if line[i] == digit {
					continue
				}
				line[i] = digit
				var a frame.Assembler
				a.Reset(f.format)
				err := a.Line(line)
				messages, _ := a.Messages()
				if err == nil || len(messages) != 0 {
					t.Errorf("%v: %s passed as %v", f.format.Protocol, line, messages)
				}
			}
		}
	}
}

// TestCaps feeds more than an exchange may hold; memory must stay bounded and the error be told.
func TestCaps(t *testing.T) {
	tests := []struct {
		name   string
		format frame.Format
		line   func(i int) string
	}{
		{"first frames of huge messages", can29, func(i int) string { return fmt.Sprintf("18DA%04X1FFF490201000000", i) }},
		{"single frames", can11, func(int) string { return "7E803410D53" }},
		{"long frames", kwp, func(int) string { return kwpLine(255) }},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			var a frame.Assembler
			a.Reset(test.format)
			var last error
			for i := range 5000 {
				last = a.Line([]byte(test.line(i)))
			}
			if !errors.Is(last, frame.ErrFull) {
				t.Errorf("%v, want %v", last, frame.ErrFull)
			}
			messages, _ := a.Messages()
			total := 0
			for _, m := range messages {
				total += len(m.Data)
			}
			if len(messages) > 1024 || total > 1<<16 {
				t.Errorf("%d messages of %d bytes", len(messages), total)
			}
			a.Reset(can11)
			if err := a.Line([]byte("7E803410D53")); err != nil {
				t.Errorf("after Reset: %v", err)
			}
		})
	}
}

// kwpLine is a frame with its length in the fourth byte and n bytes of zeros.
func kwpLine(n int) string {
	head := []byte{0x80, 0xF1, 0x10, byte(n)}
	var sum byte
	for _, b := range head {
		sum += b
	}
	return fmt.Sprintf("%X%s%02X", head, strings.Repeat("00", n), sum)
}

func TestLineTooLong(t *testing.T) {
	var a frame.Assembler
	for _, f := range []frame.Format{can11, canBare, kwp, j1850VPW} {
		a.Reset(f)
		err := a.Line([]byte(strings.Repeat("00", 100_000)))
		if !errors.Is(err, frame.ErrLong) {
			t.Errorf("%v, want %v", err, frame.ErrLong)
		}
		if len(err.Error()) > 200 {
			t.Errorf("an error of %d characters", len(err.Error()))
		}
	}
	a.Reset(kwp)
	if err := a.Line([]byte(kwpLine(255))); err != nil { // the longest that ISO 14230-2 allows
		t.Error(err)
	}
}
