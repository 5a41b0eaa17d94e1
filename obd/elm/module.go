package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"stumble/obd"
)

// A request goes to all modules at once, and their answers come side by side. A cheap adapter keeps some hundred
// bytes for them; what does not fit is lost, the same way each time. Such a request is put to one module after
// the other, which any adapter can do: the header of a request is its oldest setting.

// crowded reports whether an answer, or why there is none, looks as if several modules were too many at once.
// Live data is not meant: there the caller asks for fewer values.
func (a *Adapter) crowded(req obd.Request, answer *Answer, err error) bool {
	if !a.protocol.CAN() || !a.headers || len(a.modules) < 2 || req.Service() == obd.LiveData {
		return false
	}
	return err == nil && answer.Faults != nil || errors.Is(err, Garbled) || errors.Is(err, BufferFull)
}

// remember notes who answers.
func (a *Adapter) remember(m obd.Module) {
	if !slices.Contains(a.modules, m) && len(a.modules) < cap(a.modules) {
		a.modules = append(a.modules, m)
	}
}

// mostModules is how many addresses 11-bit CAN has for modules (ISO 15765-4).
const mostModules = 8

// oneByOne puts a request to one module after the other and returns all they said. The answers are the
// caller's to keep.
func (a *Adapter) oneByOne(ctx context.Context, req obd.Request) (Answer, error) {
	a.owed = append(a.owed, "ATSH"+functional(a.protocol))
	all, err := a.gather(ctx, req)
	a.counts.doubt(req) // what was learnt there is of one module alone
	if e := a.putBack(ctx); e != nil {
		return Answer{}, e
	}
	switch {
	case len(all.Messages) > 0:
		return all, nil
	case err == nil && len(all.Negatives) > 0:
		err = all.Negatives[0]
	}
	return all, err
}

func (a *Adapter) gather(ctx context.Context, req obd.Request) (all Answer, last error) {
	for _, m := range a.modules {
		if err := a.command(ctx, "ATSH"+physical(m), commandLimit); err != nil {
			return all, err
		}
		answer, err := a.askPatiently(ctx, req)
		if all.Sent.IsZero() {
			all.Sent = answer.Sent
		}
		all.Received = a.received
		all.Messages = append(all.Messages, cloneMessages(answer.Messages)...)
		all.Negatives = append(all.Negatives, answer.Negatives...)
		if err != nil {
			last = err
		}
		if a.gone || ctx.Err() != nil {
			break
		}
	}
	return all, last
}

// askPatiently asks again while that may help.
func (a *Adapter) askPatiently(ctx context.Context, req obd.Request) (answer Answer, err error) {
	for range mostAttempts {
		answer, err = a.askOnce(ctx, a.cfg.Clock.Now(), req, 0)
		if err == nil || RemedyFor(err) != RemedyAskAgain || ctx.Err() != nil {
			break
		}
	}
	return answer, err
}

// functional is the header of a request to all modules, physical that to one (ISO 15765-4).
func functional(p obd.Protocol) string {
	if p.Wide() {
		return "DB33F1"
	}
	return "7DF"
}

func physical(m obd.Module) string {
	if m.Bits == 29 {
		return fmt.Sprintf("DA%02XF1", m.ID&0xFF)
	}
	return fmt.Sprintf("%03X", m.ID-8)
}
