package screen

import (
	"math/bits"
	"strings"
	"time"
	"unicode"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
)

// keys is what the user has set with the keyboard: how the screen shows things, not what it shows.
type keys struct {
	unit  views.Unit
	held  []misfire.Moment // the strip as it was when it was held; nil while it runs
	back  int              // lines the held strip is turned back
	entry []rune           // the note being typed; nil when none is
	bell  uint16           // a bit a cylinder, bit 0 for cylinder 1
	still bool             // the playback was paused
}

const (
	longestNote = 200 // runes
	pageOfLines = 10
)

// bells are the cylinders whose misses ring.
func (k *keys) bells() []int {
	var on []int
	for rest := k.bell; rest != 0; rest &= rest - 1 {
		on = append(on, bits.TrailingZeros16(rest)+1)
	}
	return on
}

// press acts on one key.
func (k *keys) press(key Key, s *views.State, act Actions) Next {
	switch {
	case k.entry != nil:
		k.write(key, act)
	case k.play(key, s, act):
	case key.Name == Enter:
		confirm(s, act)
	case key.Name == Escape:
		return back()
	case key.Name == Letter:
		return k.command(key.Rune, s, act)
	case k.held != nil:
		k.turn(key.Name)
	}
	return Next{}
}

// What the keys of a playback skip.
const shortSkip, longSkip = 10 * time.Second, time.Minute

// play acts on a key that only a playback has, and reports whether it was one.
func (k *keys) play(key Key, s *views.State, act Actions) bool {
	p, ok := act.(Player)
	if !ok || s.Playback == nil {
		return false
	}
	r := ' '
	if key.Name == Letter {
		r = key.Rune
	}
	switch {
	case key.is(' '):
		k.still = !k.still
		p.Pause(k.still)
		k.release()
	case k.still && k.held == nil && (key.Name == Up || key.Name == PageUp):
		k.hold(s) // not before: a pause may come before what was sought is shown
		return false
	case key.Name == Left:
		k.seek(p, -shortSkip)
	case key.Name == Right:
		k.seek(p, shortSkip)
	case r == '<':
		k.seek(p, -longSkip)
	case r == '>':
		k.seek(p, longSkip)
	case r == '+', r == '-':
		p.Pace(r == '+')
	default:
		return strings.ContainsRune("pndrm", r) // what happened is not to be added to
	}
	return true
}

// seek goes somewhere else: a held strip is of where it was.
func (k *keys) seek(p Player, by time.Duration) {
	k.release()
	p.Seek(by)
}

// write edits the note.
func (k *keys) write(key Key, act Actions) {
	switch key.Name {
	case Escape:
		k.entry = nil
	case Enter:
		if text := strings.TrimSpace(string(k.entry)); text != "" {
			act.Note(text)
		}
		k.entry = nil
	case Backspace:
		k.entry = k.entry[:max(len(k.entry)-1, 0)]
	case WipeLine:
		k.entry = k.entry[:0]
	case Letter:
		if len(k.entry) < longestNote && !unicode.IsControl(key.Rune) {
			k.entry = append(k.entry, key.Rune)
		}
	}
}

// command acts on a letter or digit.
func (k *keys) command(r rune, s *views.State, act Actions) Next {
	switch r {
	case 'q':
		return leave()
	case 'p', 'n':
		act.Mark(gear.ParkNeutral)
	case 'd':
		act.Mark(gear.Drive)
	case 'r':
		act.Mark(gear.Reverse)
	case 'm':
		k.entry = []rune{}
	case 'u':
		k.unit = (k.unit + 1) % views.Units
	case '?':
		return over(newHelp(helpText))
	case ' ':
		k.hold(s)
	case 's', 'b', 'x':
		if s.Step != nil {
			stepKey(r, act)
		}
	case '0', '1', '2', '3', '4', '5', '6', '7', '8', '9':
		k.ring(int(r-'0'), cylindersOf(s))
	}
	return Next{}
}

// confirm says that what the step asks for has been done.
func confirm(s *views.State, act Actions) {
	if c, ok := act.(Confirmer); ok && s.Step != nil && s.Step.Enter != "" {
		c.Confirm()
	}
}

func stepKey(r rune, act Actions) {
	switch r {
	case 's':
		act.StepSkip()
	case 'b':
		act.StepRepeat()
	case 'x':
		act.StepStop()
	}
}

// hold keeps the strip as it is, or lets it run again.
func (k *keys) hold(s *views.State) {
	if k.held != nil {
		k.release()
		return
	}
	k.held = s.Strip
	if k.held == nil {
		k.held = []misfire.Moment{}
	}
}

// release lets the strip run.
func (k *keys) release() { k.held, k.back = nil, 0 }

// turn looks back and forth in a held strip.
func (k *keys) turn(key KeyName) {
	switch key {
	case Up:
		k.back++
	case Down:
		k.back--
	case PageUp:
		k.back += pageOfLines
	case PageDown:
		k.back -= pageOfLines
	}
	k.back = min(max(k.back, 0), len(k.held))
}

// ring toggles the bell of a cylinder that the engine has; 0 is cylinder 10.
func (k *keys) ring(cylinder, cylinders int) {
	if cylinder == 0 {
		cylinder = 10
	}
	if cylinder <= cylinders {
		k.bell ^= 1 << (cylinder - 1)
	}
}
