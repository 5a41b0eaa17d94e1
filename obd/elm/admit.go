package elm

import (
	"context"
	"fmt"
	"strings"

	"stumble/obd"
)

// Admit lets the requests of a user's own table of counters through the guard, which the user has seen and confirmed. Of
// services 21 and 22 alone, and those of service 06, which pass anyway; the error is an ErrForbidden for another.
func (a *Adapter) Admit(requests []obd.Request) error {
	var lines []string
	for _, req := range requests {
		switch req.Service() {
		case obd.LocalData, obd.DataByID:
			lines = append(lines, strings.ToUpper(req.String()))
		case obd.TestResults:
		default:
			return fmt.Errorf("%w: a counter by service %02X", ErrForbidden, byte(req.Service()))
		}
	}
	a.admitted = lines
	return nil
}

// DoAt is Do under a header of the user's own, as a maker's service information gives it; an empty one is that to all
// modules. The adapter that does not know how to set a header says so: NotUnderstood.
func (a *Adapter) DoAt(ctx context.Context, req obd.Request, header string) (Answer, error) {
	a.aim, a.expect = header, 0
	if header != "" && a.aimless {
		return Answer{}, fmt.Errorf("ATSH%s: %w", header, NotUnderstood)
	}
	return a.do(ctx, req)
}
