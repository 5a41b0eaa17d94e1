package elm

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd"
)

// standing is a car with its engine off that clears when asked; said overrides single lines.
func standing(said map[string]string) func(string) string {
	all := map[string]string{"010C": "7E804410C0000", "04": "7E80144"}
	for line, text := range said {
		all[line] = text
	}
	return faithful(all)
}

func agreed() Conditions { return Conditions{EvidenceSaved: true, Confirmed: "CLEAR"} }

// clears counts what was sent and could clear.
func clears(p *peer) (n int) {
	for _, line := range p.sent {
		if strings.HasPrefix(line, "04") {
			n++
		}
	}
	return n
}

func TestClear(t *testing.T) {
	p := newPeer(standing(map[string]string{"04": "7E8037F0478\r7E80144\r7E90144"}))
	a := connected(t, p)
	leave, err := a.Permit(t.Context(), agreed())
	require.NoError(t, err)
	answer, err := a.Clear(t.Context(), leave)
	require.NoError(t, err)
	require.Len(t, answer.Messages, 2)
	assert.Equal(t, []byte{0x44}, answer.Messages[0].Data)
	assert.Equal(t, []string{"010C", "ATAT0", "ATSTFF", "ATI", "04", "ATI"}, p.sent,
		"the adapter is known to be in step before, and its last line is harmless after")

	_, err = a.Do(t.Context(), askRPM)
	require.NoError(t, err)
	assert.Equal(t, []string{"ATST32", "ATAT1", "010C"}, p.sent[6:], "the timing is set back")

	_, err = a.Clear(t.Context(), leave)
	require.ErrorIs(t, err, ErrNoPermission, "once is once")
	assert.Equal(t, 1, clears(p))
}

func TestNoPermission(t *testing.T) {
	for name, test := range map[string]struct {
		conditions Conditions
		rpm, says  string
	}{
		"nothing saved":         {Conditions{Confirmed: "CLEAR"}, "7E804410C0000", "save an intake first"},
		"not typed":             {Conditions{EvidenceSaved: true}, "7E804410C0000", "the word CLEAR was not typed"},
		"typed carelessly":      {Conditions{EvidenceSaved: true, Confirmed: "clear"}, "7E804410C0000", "was not typed"},
		"engine running":        {agreed(), "7E804410C0BB8", "the engine runs at 750 rpm; turn it off"},
		"another module's word": {agreed(), "7E804410C0000\r7E904410C0BB8", "runs at 750 rpm"},
		"barely turning":        {agreed(), "7E804410C0004", "runs at 1 rpm"},
		"no engine speed":       {agreed(), "NO DATA", "the engine speed cannot be read"},
		"half an engine speed":  {agreed(), "7E803410C00", "engine speed"},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(standing(map[string]string{"010C": test.rpm}))
			a := connected(t, p)
			leave, err := a.Permit(t.Context(), test.conditions)
			require.ErrorIs(t, err, ErrNoPermission)
			assert.Contains(t, err.Error(), test.says)
			_, err = a.Clear(t.Context(), leave)
			require.ErrorIs(t, err, ErrNoPermission)
			assert.Zero(t, clears(p))
		})
	}
}

// Leave runs out, is for one adapter, and a later one, given or refused, makes it void.
func TestPermissionEnds(t *testing.T) {
	grant := func(t *testing.T) (*peer, *Adapter, Permission) {
		p := newPeer(standing(nil))
		a := connected(t, p)
		leave, err := a.Permit(t.Context(), agreed())
		require.NoError(t, err)
		return p, a, leave
	}
	refused := func(t *testing.T, p *peer, a *Adapter, leave Permission) {
		t.Helper()
		_, err := a.Clear(t.Context(), leave)
		require.ErrorIs(t, err, ErrNoPermission)
		assert.Zero(t, clears(p))
	}
	p, a, leave := grant(t)
	p.clock.AdvanceTo(p.clock.Now().Add(permissionLife))
	refused(t, p, a, leave)

	_, _, leave = grant(t)
	p, a, _ = grant(t)
	refused(t, p, a, leave)
	p, a, _ = grant(t)
	refused(t, p, a, Permission{})

	p, a, leave = grant(t)
	_, err := a.Permit(t.Context(), Conditions{})
	require.Error(t, err)
	refused(t, p, a, leave)

	p, a, leave = grant(t)
	_, err = a.Permit(t.Context(), agreed())
	require.NoError(t, err)
	refused(t, p, a, leave)
}

// Whatever goes wrong, the line is sent at most once, is not repeated by anything that comes later, and what is not
// known is not claimed.
func TestClearIsNeverRepeated(t *testing.T) {
	refusal := obd.NegativeResponse{}
	for name, test := range map[string]struct {
		answer string
		want   any // an error, or a refusal to be found in it; nil for none
	}{
		"refused":           {"7E8037F0422", refusal},
		"busy":              {"7E8037F0421", refusal},
		"one of two":        {"7E80144\r7E9037F0422", nil},
		"promised":          {"7E8037F0478", ErrUncertain},
		"nobody":            {"NO DATA", NoData},
		"stopped":           {"STOPPED", ErrUncertain},
		"damaged":           {"7E801 <DATA ERROR", ErrUncertain},
		"restarted":         {"ELM327 v1.4b", ErrUncertain},
		"voltage":           {"LV RESET", ErrUncertain},
		"not understood":    {"?", ErrUncertain},
		"no acknowledgment": {"CAN ERROR", ErrUncertain},
		"silence":           {quiet, ErrUncertain},
		"no prompt":         {"7E801" + quiet, ErrUncertain},
		"another's answer":  {"7E803410D00", ErrUncertain},
		"link lost":         {"", ErrUncertain},
	} {
		t.Run(name, func(t *testing.T) {
			p := newPeer(standing(nil))
			a := connected(t, p)
			leave, err := a.Permit(t.Context(), agreed())
			require.NoError(t, err)
			p.answer = func(line string) string {
				if line != "04" {
					return standing(nil)(line)
				}
				if name == "link lost" {
					p.gone = true
				}
				return test.answer
			}
			_, err = a.Clear(t.Context(), leave)
			switch want := test.want.(type) {
			case nil:
				require.NoError(t, err)
			case obd.NegativeResponse:
				require.ErrorAs(t, err, &want)
				require.NotErrorIs(t, err, ErrUncertain)
			case error:
				require.ErrorIs(t, err, want)
			}
			_, err = a.Clear(t.Context(), leave)
			require.ErrorIs(t, err, ErrNoPermission)
			for range 3 {
				_, err = a.Do(t.Context(), askRPM)
				require.NoError(t, err)
			}
			assert.Equal(t, 1, clears(p), "%q", p.sent)
		})
	}
}

// The guard is open for the one line: nothing before it or after it slips through.
func TestDoNeverClears(t *testing.T) {
	p := newPeer(standing(nil))
	a := connected(t, p)
	for range 2 {
		_, err := a.Do(t.Context(), obd.NewRequest(obd.ClearCodes))
		require.ErrorIs(t, err, ErrForbidden)
		leave, err := a.Permit(t.Context(), agreed())
		require.NoError(t, err)
		_, err = a.Do(t.Context(), obd.NewRequest(obd.ClearCodes))
		require.ErrorIs(t, err, ErrForbidden, "leave opens nothing by itself")
		require.NotContains(t, p.sent, "04")
		_, err = a.Clear(t.Context(), leave)
		require.NoError(t, err)
		p.sent = nil
	}
}

// A clear that is called off before its line leaves is none.
func TestClearCalledOff(t *testing.T) {
	for _, at := range []string{"ATAT0", "ATSTFF", "ATI"} {
		p := newPeer(standing(nil))
		a := connected(t, p)
		leave, err := a.Permit(t.Context(), agreed())
		require.NoError(t, err)
		ctx, cancel := context.WithCancel(t.Context())
		p.answer = func(line string) string {
			if line == at {
				cancel()
				return quiet
			}
			return standing(nil)(line)
		}
		_, err = a.Clear(ctx, leave)
		require.ErrorIs(t, err, ErrNoPermission)
		require.ErrorIs(t, err, context.Canceled)
		p.answer = standing(nil)
		_, err = a.Do(t.Context(), askRPM)
		require.NoError(t, err)
		assert.Zero(t, clears(p))
	}
}

// An adapter that forgot its settings just before is not cleared through, and one that is slow is waited for.
func TestClearAtABadMoment(t *testing.T) {
	p := newPeer(standing(map[string]string{"ATSTFF": "OK\r\r>\rLV RESET"}))
	a := connected(t, p)
	leave, err := a.Permit(t.Context(), agreed())
	require.NoError(t, err)
	_, err = a.Clear(t.Context(), leave)
	require.ErrorIs(t, err, ErrNoPermission)
	assert.Zero(t, clears(p))

	p = newPeer(standing(nil))
	a = connected(t, p)
	leave, err = a.Permit(t.Context(), agreed())
	require.NoError(t, err)
	p.delay = 1200 * time.Millisecond
	before := p.clock.Now()
	_, err = a.Clear(t.Context(), leave)
	require.NoError(t, err, fmt.Sprint(p.clock.Now().Sub(before)))
	assert.True(t, slices.Contains(p.sent, "04"))
}

// The engine must have been seen to stand within five seconds before the clear, no more: our own limit, the shortest in which
// somebody could get in and turn the key. The line that goes out before it takes time as well.
func TestPermissionLastsFiveSeconds(t *testing.T) {
	for wait, cleared := range map[time.Duration]int{4 * time.Second: 1, 4500 * time.Millisecond: 1, 5001 * time.Millisecond: 0, 6 * time.Second: 0, time.Minute: 0} {
		p := newPeer(standing(nil))
		a := connected(t, p)
		leave, err := a.Permit(t.Context(), agreed())
		require.NoError(t, err)
		p.clock.AdvanceTo(p.clock.Now().Add(wait))
		_, err = a.Clear(t.Context(), leave)
		assert.Equal(t, cleared, clears(p), wait)
		if cleared == 0 {
			require.ErrorIs(t, err, ErrNoPermission)
		}
	}
}
