package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"stumble/obd"
	"stumble/obd/frame"
)

// A request goes to all modules at once, and their answers come side by side. A cheap adapter keeps some hundred
// bytes for them; what does not fit is lost, the same way each time. Such a request is put to one module after
// the other, which any adapter can do: the header of a request is its oldest setting.

// crowded reports whether an answer, or why there is none, looks as if several modules were too many at once.
// Live data is not meant: there the caller asks for fewer values.
func (a *Adapter) crowded(req obd.Request, answer *Answer, err error) bool {
	if !a.protocol.CAN() || !a.headers || a.aim != "" || len(a.modules) < 2 || req.Service() == obd.LiveData {
		return false
	}
	return err == nil && answer.Faults != nil || errors.Is(err, Garbled) || errors.Is(err, BufferFull)
}

// remember notes who answers, and who speaks OBD on UDS.
func (a *Adapter) remember(req obd.Request, m obd.Message) {
	if !slices.Contains(a.modules, m.Module) && len(a.modules) < cap(a.modules) {
		a.modules = append(a.modules, m.Module)
	}
	if speaksByID(req, m) && !slices.Contains(a.modern, m.Module) {
		a.modern = append(a.modern, m.Module)
	}
}

// Strangers are the addresses outside those of ISO 15765-4 from which lines came again and again, in the order of their
// first. What they say is left out: how they address their answers nobody knows.
func (a *Adapter) Strangers() []obd.Module {
	var out []obd.Module
	for _, s := range a.strangers {
		if s.seen >= strangerSeen {
			out = append(out, s.module)
		}
	}
	return out
}

// stranger is an address that is none of ISO 15765-4's.
type stranger struct {
	module obd.Module
	seen   int
}

const (
	strangerSeen  = 3  // lines from one address: fewer are lines that lost a character on the way
	mostStrangers = 64 // that are told apart
)

// stranger reports whether a line could not be read because it comes from an address that is none of ISO 15765-4's, and
// has come from it before: then it spoils nothing. A line that lost a character looks the same, but not the same again
// and again.
func (a *Adapter) stranger(line []byte, err error) bool {
	width, bits := 3, uint8(11)
	if a.protocol.Wide() {
		width, bits = 8, 29
	}
	if !errors.Is(err, frame.ErrHeader) || !a.protocol.CAN() || !a.headers || len(line) <= width || (len(line)-width)%2 != 0 {
		return false
	}
	id, e := strconv.ParseUint(string(line[:width]), 16, 32)
	if e != nil {
		return false
	}
	m := obd.Module{ID: uint32(id), Bits: bits}
	i := slices.IndexFunc(a.strangers, func(s stranger) bool { return s.module == m })
	if i < 0 {
		if len(a.strangers) == mostStrangers {
			return false
		}
		i = len(a.strangers)
		a.strangers = append(a.strangers, stranger{module: m})
	}
	a.strangers[i].seen++
	return a.strangers[i].seen >= strangerSeen
}

// mostModules is how many modules are told apart: 11-bit CAN has eight addresses for them, 7E8 to 7EF (ISO 15765-4), and
// cars are met that use those below and 29-bit ones with more.
const mostModules = 32

// oneByOne puts a request to one module after the other and returns all they said. The answers are the
// caller's to keep.
func (a *Adapter) oneByOne(ctx context.Context, req obd.Request) (Answer, error) {
	all, err := a.gather(ctx, req)
	if e := a.point(ctx, ""); e != nil {
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
		if err := a.point(ctx, physical(m)); err != nil {
			return all, err
		}
		if a.aimless {
			return all, NotUnderstood
		}
		answer, err := a.askPatiently(ctx, req)
		if all.Sent.IsZero() {
			all.Sent = answer.Sent
		}
		all.Received = a.received
		all.Messages = append(all.Messages, cloneMessages(answer.Messages)...)
		all.Negatives = append(all.Negatives, answer.Negatives...)
		if err != nil && (last == nil || !says(err)) { // a spoiled answer matters more than that others have none
			last = err
		}
		if a.gone || ctx.Err() != nil {
			break
		}
	}
	return all, last
}

// says reports an error that is a module's own word, or its silence.
func says(err error) bool {
	var refused obd.NegativeResponse
	return errors.Is(err, NoData) || errors.As(err, &refused)
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

// point sets the header of the requests to come: empty is that to all modules. An adapter that does not know how is
// pointed no more.
func (a *Adapter) point(ctx context.Context, header string) error {
	if header == a.header || header != "" && a.aimless {
		return nil
	}
	line := "ATSH" + header
	if header == "" {
		line += functional(a.protocol)
	}
	err := a.command(ctx, line, commandLimit)
	switch {
	case errors.Is(err, NotUnderstood):
		a.aimless, a.aim, a.expect = true, "", 0
		return nil
	case err != nil:
		return err
	}
	a.header = header
	return nil
}

// key is what is learnt of a request's answer by: who is asked makes a difference.
func (a *Adapter) key(req obd.Request) countKey { return countKey{req, a.header} }

func bitsOf(p obd.Protocol) uint8 {
	if p.Wide() {
		return 29
	}
	return 11
}

// functional is the header of a request to all modules, physical that to one (ISO 15765-4; before CAN SAE J1850, ISO 9141-2
// and ISO 14230-4, whose length bits the adapter sets).
func functional(p obd.Protocol) string {
	switch {
	case p.Wide():
		return "DB33F1"
	case p == obd.J1850PWM:
		return "616AF1"
	case p == obd.J1850VPW, p == obd.ISO9141:
		return "686AF1"
	case p.KWP():
		return "C233F1"
	}
	return "7DF"
}

// headerOf is physical, made once for each module.
func (a *Adapter) headerOf(m obd.Module) string {
	h, known := a.headersOf[m]
	if !known {
		h = physical(m)
		a.headersOf[m] = h
	}
	return h
}

func physical(m obd.Module) string {
	if m.Bits == 29 {
		return fmt.Sprintf("DA%02XF1", m.ID&0xFF)
	}
	return fmt.Sprintf("%03X", m.ID-8)
}
