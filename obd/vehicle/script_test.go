package vehicle

import (
	"context"
	"encoding/hex"
	"fmt"
	"strconv"
	"strings"
	"testing"
	"time"

	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
)

// script is a car in the test's own words: what it says to a request, both in hexadecimal. An answer is
// "7E8=410C0BB8", several are parted by blanks; what is not in the script gets NO DATA. Each exchange takes a
// fiftieth of a second.
type script struct {
	t        *testing.T
	clk      *clock.Stepped
	protocol obd.Protocol
	said     map[string]string
	fails    func(req string) error // overrides said where it returns an error; may be nil
	asked    []string
}

func newScript(t *testing.T, p obd.Protocol, said map[string]string) *script {
	return &script{t: t, clk: clock.NewStepped(morning), protocol: p, said: said}
}

func (s *script) Protocol() obd.Protocol { return s.protocol }

func (s *script) Do(ctx context.Context, req obd.Request) (elm.Answer, error) {
	if err := ctx.Err(); err != nil {
		return elm.Answer{}, context.Cause(ctx)
	}
	key := strings.ToUpper(req.String())
	s.asked = append(s.asked, key)
	answer := elm.Answer{Sent: s.clk.Now()}
	s.clk.Advance(20 * time.Millisecond)
	answer.Received = s.clk.Now()
	if s.fails != nil {
		if err := s.fails(key); err != nil {
			return elm.Answer{}, fmt.Errorf("%s: %w", key, err)
		}
	}
	for _, m := range messages(s.t, s.protocol, s.said[key]) {
		if n, refused := obd.DecodeNegative(m); refused {
			answer.Negatives = append(answer.Negatives, n)
			continue
		}
		answer.Messages = append(answer.Messages, m)
	}
	switch {
	case len(answer.Messages) > 0:
		return answer, nil
	case len(answer.Negatives) > 0:
		return answer, fmt.Errorf("%s: %w", key, answer.Negatives[0])
	}
	return answer, fmt.Errorf("%s: %w", key, elm.NoData)
}

// messages reads "7E8=410C0BB8 7E9=410C0BB8".
func messages(t *testing.T, p obd.Protocol, text string) (out []obd.Message) {
	for _, one := range strings.Fields(text) {
		address, data, ok := strings.Cut(one, "=")
		id, err := strconv.ParseUint(address, 16, 32)
		b, err2 := hex.DecodeString(data)
		if !ok || err != nil || err2 != nil {
			t.Fatalf("a script says %q", one)
		}
		out = append(out, obd.Message{Module: obd.Module{ID: uint32(id), Bits: bits(p)}, Data: b})
	}
	return out
}

func bits(p obd.Protocol) uint8 {
	switch {
	case p.Wide():
		return 29
	case p.CAN():
		return 11
	}
	return 8
}

// count is how often requests that begin so were made.
func (s *script) count(prefix string) int {
	n := 0
	for _, a := range s.asked {
		if strings.HasPrefix(a, prefix) {
			n++
		}
	}
	return n
}

// supports is a bitmap answer's four bytes for ids after base.
func supports(base byte, ids ...byte) string {
	var w uint32
	for _, id := range ids {
		w |= 1 << (32 - (id - base))
	}
	return fmt.Sprintf("%08X", w)
}
