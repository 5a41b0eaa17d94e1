package screen

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"stumble/views"
)

// confirming counts what Enter says.
type confirming struct {
	Actions
	pressed int
}

func (c *confirming) Confirm() { c.pressed++ }

// Enter is heard where a step asks to be told, and nowhere else; in a note it ends the note.
func TestEnterConfirms(t *testing.T) {
	act := &confirming{}
	enter := Key{Name: Enter}
	var k keys
	k.press(enter, &views.State{}, act)
	k.press(enter, &views.State{Step: &views.Step{}}, act)
	assert.Zero(t, act.pressed)
	k.press(enter, &views.State{Step: &views.Step{Enter: "unplugged"}}, act)
	assert.Equal(t, 1, act.pressed)
	k.entry = []rune{}
	k.press(enter, &views.State{Step: &views.Step{Enter: "unplugged"}}, act)
	assert.Equal(t, 1, act.pressed)
	assert.Nil(t, k.entry)
}
