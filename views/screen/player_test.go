package screen

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"

	"stumble/misfire"
	"stumble/misfire/gear"
	"stumble/views"
)

// turned notes what a playback's keys did.
type turned struct {
	Actions // nil: a key that does anything else fails the test
	did     []any
}

func (p *turned) Pause(on bool)         { p.did = append(p.did, on) }
func (p *turned) Seek(by time.Duration) { p.did = append(p.did, by) }
func (p *turned) Pace(faster bool) {
	p.did = append(p.did, map[bool]string{true: "faster", false: "slower"}[faster])
}

func TestKeysOfAPlayback(t *testing.T) {
	s := &views.State{Playback: &views.Playback{}, Strip: []misfire.Moment{{Gear: gear.Drive}}}
	var k keys
	act := &turned{}
	press := func(key KeyName, r rune) {
		t.Helper()
		assert.Zero(t, k.press(Key{key, r}, s, act))
	}
	press(Up, 0)
	assert.Nil(t, k.held, "a strip that runs is not turned back")
	press(Letter, ' ')
	assert.Nil(t, k.held, "what is shown may not be what was sought yet")
	press(Up, 0)
	assert.NotNil(t, k.held, "paused, the strip can be looked back in")
	assert.Equal(t, 1, k.back)
	press(Left, 0)
	assert.Nil(t, k.held, "elsewhere there is another strip")
	press(Right, 0)
	for _, r := range "<>+- pndrm" {
		press(Letter, r)
	}
	assert.Equal(t, []any{true, -10 * time.Second, 10 * time.Second, -time.Minute, time.Minute, "faster", "slower", false}, act.did)
	assert.Nil(t, k.entry, "no note is added to what happened")
	assert.Equal(t, leave(), k.press(Key{Rune: 'q'}, s, act))
}
