package elm

import (
	"context"
	"errors"
	"fmt"
	"time"

	"stumble/obd"
)

// Service 04 erases what a fault is found and a repair proven by: codes, freeze frames, readiness, test results. It
// is the one request of this package that changes a car, so it has a way of its own: leave is given by Permit, holds
// for a few seconds and one exchange, and what went wrong with that exchange is told and never mended by sending again.

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
	answer, err := a.Do(ctx, obd.Live(obd.PIDRPM))
	if err != nil {
		return time.Time{}, fmt.Errorf("%w: the engine speed cannot be read: %w", ErrNoPermission, err)
	}
	told := false
	for _, m := range answer.Messages {
		readings, err := obd.AppendLive(nil, m)
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
		return time.Time{}, fmt.Errorf("%w: the car does not tell its engine speed, so that the engine is off cannot be seen", ErrNoPermission)
	}
	return answer.Sent, nil
}

// Clear sends service 04 once and returns what each module made of it: a message of one that cleared, a negative
// response of one that refused. It uses the permission up, whatever comes of it.
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
	answer, err := a.clearOnce(ctx)
	// A carriage return of whoever uses the adapter next would make it repeat its last line: let that be a harmless
	// one. Where this fails the next line in its stead does it.
	_ = a.try(ctx, probe)
	return answer, err
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
	a.owed = append(a.owed, "ATST32", "ATAT1")
	for _, line := range [...]string{"ATAT0", "ATSTFF"} {
		if err := a.try(ctx, line); err != nil {
			return err
		}
	}
	return a.settle(ctx, []byte(clearLine))
}

// clearOnce opens the guard for the one line and sends it.
func (a *Adapter) clearOnce(ctx context.Context) (Answer, error) {
	a.armed, a.patience = true, patienceLong
	defer func() { a.armed, a.patience = false, 0 }()
	answer, err := a.askOnce(ctx, a.cfg.Clock.Now(), obd.NewRequest(obd.ClearCodes), 0)
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
