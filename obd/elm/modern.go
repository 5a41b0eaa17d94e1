package elm

import (
	"context"
	"errors"
	"fmt"

	"stumble/obd"
	"stumble/obd/uds"
)

// A car of SAE J1979-2 (OBD on UDS) leaves service 01 unanswered, by which adapters search: the search ends without a
// car although the bus is fine. So the protocols of such cars are tried one after the other with a question in their own
// language. None was at hand, so how each adapter behaves there is from memory.

// askModern sets one protocol after the other that a car of SAE J1979-2 may speak and asks for its identification. why
// is what the search for other cars ended with; it is the error when this finds none either.
func (a *Adapter) askModern(ctx context.Context, why error) error {
	if RemedyFor(why) != RemedyWaitIgnition {
		return why
	}
	for _, p := range [...]obd.Protocol{obd.CAN11At500, obd.CAN29At500, obd.CAN11At250, obd.CAN29At250} {
		if err := a.fix(ctx, p); err != nil && !errors.Is(err, NotUnderstood) {
			return err
		}
		err := a.contactByID(ctx, p)
		if err == nil || ctx.Err() != nil || a.gone || RemedyFor(err) == RemedyStartAgain {
			return err
		}
	}
	a.fixed = false
	return why
}

// contactByID asks whether a car of SAE J1979-2 is there, the protocol being set, and takes it up if so.
func (a *Adapter) contactByID(ctx context.Context, p obd.Protocol) error {
	before := a.protocol
	a.protocol = p
	identify := uds.Identify()
	bitmap, _ := uds.FromClassic(obd.Live(0))
	err := a.identified(ctx, identify)
	if errors.Is(err, errNotModern) { // it answers by identifiers, but not what it should
		err = a.identified(ctx, bitmap)
	}
	if err != nil {
		a.protocol = before
		if errors.Is(err, NoData) || errors.Is(err, errNotModern) {
			err = NoVehicle
		}
		return fmt.Errorf("%s: %w", identify, err)
	}
	a.byID = true
	return nil
}

// errNotModern says that somebody answered, though not as a module of SAE J1979-2 does.
var errNotModern = errors.New("what answered does not speak OBD on UDS")

// identified asks one of the questions by which a car of SAE J1979-2 is known.
func (a *Adapter) identified(ctx context.Context, req obd.Request) error {
	var answer Answer
	var err error
	for range mostAttempts {
		if answer, err = a.ask(ctx, req); err == nil || RemedyFor(err) != RemedyAskAgain {
			break
		}
	}
	var refused obd.NegativeResponse
	switch {
	case errors.As(err, &refused):
		return errNotModern
	case err != nil:
		return err
	}
	for _, m := range answer.Messages {
		if speaksByID(req, m) {
			return nil
		}
	}
	return errNotModern
}

// speaksByID reports whether an answer is that of a module of SAE J1979-2: it identifies itself as one, tells a parameter
// of live data by its identifier, or its codes by service 19.
func speaksByID(req obd.Request, m obd.Message) bool {
	switch {
	case req.Service() == obd.CodeData:
		return true
	case req == uds.Identify():
		return uds.Speaks(m)
	}
	service, ok := uds.Classic(req)
	return ok && service == obd.LiveData && len(m.Data) > 3
}
