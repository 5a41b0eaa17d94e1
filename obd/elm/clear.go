package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"stumble/obd"
	"stumble/obd/uds"
)

// Service 04, and service 14 of SAE J1979-2, erase what a fault is found and a repair proven by: codes, freeze frames,
// readiness, test results. They are the requests of this package that change a car, so they have a way of their own:
// leave is given by Permit, holds for a few seconds and one clear, and what went wrong with it is told and never mended
// by sending again.

// ClearWord is what a person must have typed before anything is cleared.
const ClearWord = "CLEAR"

// ErrNoPermission says that a clear was refused before anything was sent.
var ErrNoPermission = errors.New("nothing was cleared")

// ErrUncertain says that a clear was sent and what became of it is not known: read the codes to see.
var ErrUncertain = errors.New("the clear was sent, but whether it was done is not known; it is not sent again: read the codes to see")

// permissionLife is how old the sight of a standing engine may be when the clear is sent: nobody walks to the key
// and starts an engine in less.
const permissionLife = 5 * time.Second

// Conditions are what must hold for a clear beside the engine standing still, which the adapter sees for itself.
type Conditions struct {
	EvidenceSaved bool   // what the clear erases was read before and is saved elsewhere
	Confirmed     string // what a person typed when asked for ClearWord
}

// Permission is leave to clear one car's codes once. The zero value is none; Permit alone gives one.
type Permission struct {
	by    *Adapter
	grant uint64
	stood time.Time // when the engine was seen standing still
}

// Permit asks the car for its engine speed and gives leave to clear when every module that tells it says 0 rpm and
// the conditions hold. A new permission makes those before it void. The error is an ErrNoPermission and says which
// condition is not met, or it is that of the reading.
func (a *Adapter) Permit(ctx context.Context, c Conditions) (Permission, error) {
	a.granted++ // whatever becomes of this, an earlier one is void
	a.open = false
	switch {
	case !c.EvidenceSaved:
		return Permission{}, fmt.Errorf("%w: what it would erase is not saved; save an intake first", ErrNoPermission)
	case c.Confirmed != ClearWord:
		return Permission{}, fmt.Errorf("%w: the word %s was not typed", ErrNoPermission, ClearWord)
	}
	stood, err := a.Standing(ctx)
	if err != nil {
		return Permission{}, err
	}
	a.open = true
	return Permission{by: a, grant: a.granted, stood: stood}, nil
}

// Standing is when the car said that its engine stands still. The error is an ErrNoPermission: it runs, or nobody tells.
func (a *Adapter) Standing(ctx context.Context) (time.Time, error) {
	classic := obd.Live(obd.PIDRPM)
	asked := []obd.Request{classic}
	if byID, ok := uds.FromClassic(classic); ok && len(a.modern) > 0 {
		asked = append(asked, byID)
	}
	var stood time.Time
	var unread error
	for _, req := range asked {
		at, err := a.stands(ctx, req)
		switch {
		case errors.Is(err, errNotTold):
			unread = err
		case err != nil:
			return time.Time{}, err
		case stood.IsZero():
			stood = at
		}
	}
	if stood.IsZero() {
		return stood, fmt.Errorf("%w: %w", ErrNoPermission, unread)
	}
	return stood, nil
}

// errNotTold says that nobody told the engine speed: with a cause where it could not be read.
var errNotTold = errors.New("the car does not tell its engine speed, so that the engine is off cannot be seen")

// stands asks for the engine speed in one way. It is an errNotTold where nothing came of it, else an ErrNoPermission.
func (a *Adapter) stands(ctx context.Context, req obd.Request) (time.Time, error) {
	answer, err := a.Do(ctx, req)
	var refused obd.NegativeResponse
	switch {
	case len(a.modern) > 0 && (errors.Is(err, NoData) || errors.As(err, &refused)): // it may tell in the other way
		return time.Time{}, errNotTold
	case err != nil:
		return time.Time{}, fmt.Errorf("%w: the engine speed cannot be read: %w", ErrNoPermission, err)
	}
	told := false
	for _, m := range answer.Messages {
		readings, err := liveReadings(req, m)
		if err != nil {
			return time.Time{}, fmt.Errorf("%w: the engine speed cannot be read: %w", ErrNoPermission, err)
		}
		for _, r := range readings {
			switch {
			case r.ID != obd.PIDRPM:
			case r.Value == 0:
				told = true
			default:
				return time.Time{}, fmt.Errorf("%w: the engine runs at %.0f rpm; turn it off, turn the ignition back on, and try again", ErrNoPermission, r.Value)
			}
		}
	}
	if !told {
		return time.Time{}, errNotTold
	}
	return answer.Sent, nil
}

// liveReadings decodes live data asked for in either way.
func liveReadings(req obd.Request, m obd.Message) ([]obd.Reading, error) {
	if req.Service() != obd.DataByID {
		return obd.AppendLive(nil, m)
	}
	data, err := uds.AppendClassic(nil, req, m)
	if err != nil {
		return nil, err
	}
	return obd.AppendLive(nil, obd.Message{Module: m.Module, Data: data})
}

// Clear sends service 04 once, or to modules that say they speak OBD on UDS service 14, and returns what each module made
// of it: a message of one that cleared, a negative response of one that refused. A car with modules of both kinds is
// sent both. It uses the permission up, whatever comes of it.
//
// When every module refused, or none answered, the error says so (an obd.NegativeResponse, NoData). Any other trouble
// after the line was sent is an ErrUncertain; nothing is repeated, nor is a lost link sought again.
func (a *Adapter) Clear(ctx context.Context, p Permission) (Answer, error) {
	valid := p.by == a && p.grant == a.granted && a.open
	a.open = false
	switch {
	case !valid:
		return Answer{}, fmt.Errorf("%w: there is no permission, or it was used", ErrNoPermission)
	case a.gone:
		return Answer{}, fmt.Errorf("%w: the connection to the adapter is lost; start again", ErrNoPermission)
	}
	if err := a.brace(ctx); err != nil {
		return Answer{}, fmt.Errorf("%w: %w", ErrNoPermission, err)
	}
	if age := a.cfg.Clock.Now().Sub(p.stood); age < 0 || age > permissionLife {
		return Answer{}, fmt.Errorf("%w: that the engine stands still was seen too long ago; try again", ErrNoPermission)
	}
	requests := a.clears()
	answer, err := a.clearOnce(ctx, requests[0])
	if len(requests) > 1 && !errors.Is(err, ErrUncertain) && !errors.Is(err, ErrNoPermission) {
		answer, err = a.clearRest(ctx, requests[1], answer, err)
	}
	// A carriage return of whoever uses the adapter next would make it repeat its last line: let that be a harmless
	// one. Where this fails the next line in its stead does it.
	_ = a.try(ctx, probe)
	return answer, err
}

// clears are the requests that clear this car: by service 14 the modules that speak OBD on UDS, by service 04 others.
func (a *Adapter) clears() (out []obd.Request) {
	if len(a.modern) > 0 {
		out = append(out, obd.NewRequest(obd.ClearGroup, 0xFF, 0xFF, 0x33))
	}
	if len(a.modern) == 0 || slices.ContainsFunc(a.modules, func(m obd.Module) bool { return !slices.Contains(a.modern, m) }) {
		out = append(out, obd.NewRequest(obd.ClearCodes))
	}
	return out
}

// clearRest clears the modules that the first request was not for, once the engine is seen to stand still yet. before
// and why are what came of the first.
func (a *Adapter) clearRest(ctx context.Context, req obd.Request, before Answer, why error) (Answer, error) {
	if _, err := a.Standing(ctx); err != nil {
		return before, fmt.Errorf("%w (%w)", ErrUncertain, err)
	}
	answer, err := a.clearOnce(ctx, req)
	answer.Sent = before.Sent
	answer.Messages = append(before.Messages, answer.Messages...)
	answer.Negatives = append(before.Negatives, answer.Negatives...)
	switch {
	case errors.Is(err, ErrUncertain), errors.Is(err, ErrNoPermission):
		return answer, fmt.Errorf("%w (%w)", ErrUncertain, err)
	case len(answer.Messages) > 0:
		return answer, nil
	}
	return answer, why
}

// brace makes ready for a line that must not be lost, torn or sent twice: what was changed is put back, the adapter
// is made to wait its longest, about a second a line, since erasing takes time and a promise (7F 04 78) may come
// first; and whatever is still under way is let end.
func (a *Adapter) brace(ctx context.Context) error {
	if err := a.putBack(ctx); err != nil {
		return err
	}
	if err := a.point(ctx, ""); err != nil { // every module is to clear
		return err
	}
	a.owed = append(a.owed, a.usualWait(), "ATAT1")
	for _, line := range [...]string{"ATAT0", "ATSTFF"} {
		if err := a.try(ctx, line); err != nil {
			return err
		}
	}
	return a.settle(ctx, []byte(clearLine))
}

// clearOnce opens the guard for the one line and sends it.
func (a *Adapter) clearOnce(ctx context.Context, req obd.Request) (Answer, error) {
	a.armed, a.patience = true, patienceLong
	defer func() { a.armed, a.patience = false, 0 }()
	answer, err := a.askOnce(ctx, a.cfg.Clock.Now(), req, 0)
	answer.Messages = cloneMessages(answer.Messages) // the next exchange would overwrite them
	answer.Negatives = append([]obd.NegativeResponse(nil), answer.Negatives...)
	var refused obd.NegativeResponse
	switch {
	case a.armed:
		return answer, fmt.Errorf("%w: %w", ErrNoPermission, err) // it never left
	case err == nil, errors.Is(err, NoData), errors.As(err, &refused) && !refused.Pending():
		return answer, err
	}
	return answer, fmt.Errorf("%w (%w)", ErrUncertain, err)
}
