package screen

import (
	"math/bits"
	"strings"
	"time"
	"unicode"

	"github.com/gdamore/tcell/v2"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
)

// keys is what the user has set with the keyboard: how the screen shows things, not what it shows.
type keys struct {
	unit  views.Unit
	help  bool
	page  int              // first line of the help page shown
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

// press acts on one key; quit reports that the user wants to leave.
func (k *keys) press(ev *tcell.EventKey, s *views.State, act Actions) (quit bool) {
	switch {
	case ev.Key() == tcell.KeyCtrlC:
		return true
	case k.entry != nil:
		k.write(ev, act)
	case k.help:
		return k.readHelp(ev)
	case k.play(ev, s, act):
	case ev.Key() == tcell.KeyEnter:
		confirm(s, act)
	case ev.Key() == tcell.KeyRune:
		return k.command(ev.Rune(), s, act)
	case k.held != nil:
		k.turn(ev.Key())
	}
	return false
}

// What the keys of a playback skip.
const shortSkip, longSkip = 10 * time.Second, time.Minute

// play acts on a key that only a playback has, and reports whether it was one.
func (k *keys) play(ev *tcell.EventKey, s *views.State, act Actions) bool {
	p, ok := act.(Player)
	if !ok || s.Playback == nil {
		return false
	}
	key, r := ev.Key(), ' '
	if key == tcell.KeyRune {
		r = ev.Rune()
	}
	switch {
	case key == tcell.KeyRune && r == ' ':
		k.still = !k.still
		p.Pause(k.still)
		k.release()
	case k.still && k.held == nil && (key == tcell.KeyUp || key == tcell.KeyPgUp):
		k.hold(s) // not before: a pause may come before what was sought is shown
		return false
	case key == tcell.KeyLeft:
		k.seek(p, -shortSkip)
	case key == tcell.KeyRight:
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
func (k *keys) write(ev *tcell.EventKey, act Actions) {
	switch ev.Key() {
	case tcell.KeyEscape:
		k.entry = nil
	case tcell.KeyEnter:
		if text := strings.TrimSpace(string(k.entry)); text != "" {
			act.Note(text)
		}
		k.entry = nil
	case tcell.KeyBackspace, tcell.KeyBackspace2:
		k.entry = k.entry[:max(len(k.entry)-1, 0)]
	case tcell.KeyCtrlU:
		k.entry = k.entry[:0]
	case tcell.KeyRune:
		if len(k.entry) < longestNote && !unicode.IsControl(ev.Rune()) {
			k.entry = append(k.entry, ev.Rune())
		}
	}
}

// readHelp turns the help page; any other key closes it.
func (k *keys) readHelp(ev *tcell.EventKey) (quit bool) {
	switch {
	case ev.Key() == tcell.KeyDown:
		k.page++
	case ev.Key() == tcell.KeyUp:
		k.page--
	case ev.Key() == tcell.KeyPgDn, ev.Key() == tcell.KeyRune && ev.Rune() == ' ':
		k.page += pageOfLines
	case ev.Key() == tcell.KeyPgUp:
		k.page -= pageOfLines
	case ev.Key() == tcell.KeyRune && ev.Rune() == 'q':
		return true
	default:
		k.help, k.page = false, 0
	}
	k.page = max(k.page, 0)
	return false
}

// command acts on a letter or digit.
func (k *keys) command(r rune, s *views.State, act Actions) (quit bool) {
	switch r {
	case 'q':
		return true
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
		k.help = true
	case ' ':
		k.hold(s)
	case 's', 'b', 'x':
		if s.Step != nil {
			stepKey(r, act)
		}
	case '0', '1', '2', '3', '4', '5', '6', '7', '8', '9':
		k.ring(int(r-'0'), cylindersOf(s))
	}
	return false
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
func (k *keys) turn(key tcell.Key) {
	switch key {
	case tcell.KeyUp:
		k.back++
	case tcell.KeyDown:
		k.back--
	case tcell.KeyPgUp:
		k.back += pageOfLines
	case tcell.KeyPgDn:
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
