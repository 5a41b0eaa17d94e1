package frame_test

import (
	"errors"
	"testing"

	"stumble/obd/frame"
)

// A frame that has lost a pair of characters can look like one that came without filling. Where a module's frames
// of that kind come filled up, one without is not believed; two running are a change of manners.
func TestFillingIsAHabit(t *testing.T) {
	var a frame.Assembler
	say := func(lines ...string) (got []string, err error) {
		a.Reset(can11)
		for _, line := range lines {
			err = errors.Join(err, a.Line([]byte(line)))
		}
		messages, faults := a.Messages()
		return written(messages), errors.Join(err, faults)
	}
	for _, step := range []struct {
		name  string
		lines []string
		want  string
		err   error
	}{
		{"nothing is known yet", []string{"7E8 03 41 0D 53"}, "7E8=410D53", nil},
		{"filled", []string{"7E8 06 41 0C 1A F8 0D 4A AA"}, "7E8=410C1AF80D4A", nil},
		{"the last digits of speed lost", []string{"7E8 06 41 0C 1A F8 0D AA"}, "", frame.ErrShort},
		{"filled again", []string{"7E8 03 41 0D 53 AA AA AA AA"}, "7E8=410D53", nil},
		{"lost again", []string{"7E8 06 41 0C 1A F8 4A AA"}, "", frame.ErrShort},
		{"and a second time running", []string{"7E8 06 41 0C 1A F8 0D 4A"}, "7E8=410C1AF80D4A", nil},
		{"nothing to fill", []string{"7E8 07 41 0C 1A F8 0D 4A 00"}, "7E8=410C1AF80D4A00", nil},
		{"another module's manners", []string{"7E9 03 41 0D 53"}, "7E9=410D53", nil},
		{"consecutive frames have their own", []string{"7E8 10 08 46 A2 0C 24 00 05", "7E8 21 00 00"}, "7E8=46A20C2400050000", nil},
		{"a filled one", []string{"7E8 10 0C 46 A2 0C 24 00 05", "7E8 21 00 00 FF FF 00 00 AA"}, "7E8=46A20C2400050000FFFF0000", nil},
		{"a count's digits lost", []string{"7E8 10 0C 46 A2 0C 24 00 05", "7E8 21 00 00 FF 00 00 AA"}, "", frame.ErrShort},
	} {
		got, err := say(step.lines...)
		if !errors.Is(err, step.err) || (step.err == nil) != (err == nil) {
			t.Errorf("%s: error %v, want %v", step.name, err, step.err)
		}
		if step.want == "" && len(got) > 0 || step.want != "" && (len(got) != 1 || got[0] != step.want) {
			t.Errorf("%s: %v, want %q", step.name, got, step.want)
		}
	}
}

// No pair of characters lost from a filled frame passes for a true one, once the module is known to fill.
func TestLostPairs(t *testing.T) {
	const line = "7E8064100BE3FB813AA" // the bitmap of the published vectors, filled
	for i := range line {
		for j := range i {
			var a frame.Assembler
			for _, text := range []string{line, line[:j] + line[j+1:i] + line[i+1:]} {
				a.Reset(can11)
				err := a.Line([]byte(text))
				if messages, _ := a.Messages(); (text == line) != (err == nil && len(messages) == 1) {
					t.Errorf("%s without characters %d and %d: %v, %v", line, j, i, written(messages), err)
				}
			}
		}
	}
}
