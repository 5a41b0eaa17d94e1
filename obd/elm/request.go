package elm

import (
	"context"
	"errors"
	"fmt"
	"time"

	"stumble/obd"
	"stumble/obd/frame"
)

// Answer is what the car said to one request. Its slices are good until the adapter's next exchange.
type Answer struct {
	Sent, Received time.Time
	Messages       []obd.Message          // positive answers, in order of arrival
	Negatives      []obd.NegativeResponse // refusals of modules, beside the positive answers of others
	// Faults tells what of the answer was thrown away, such as a message with a frame missing, when
	// another module's message was whole.
	Faults error
}

const (
	requestLimit = 6 * time.Second        // covers a few response-pending waits of the adapter itself
	mostAttempts = 3                      // of one request, before its error is returned
	busyPause    = 200 * time.Millisecond // a module that is busy (7F xx 21) wants to be asked again later
	pendingLimit = 20 * time.Second       // how long an answer that is promised (7F xx 78) is waited for
)

// Do sends one request and returns what the car answered. Complaints of the adapter are dealt with by
// their remedy as far as that can be done without a person; what is left is the error:
//
//   - NoData when nobody answered, which is how most modules say "not supported";
//   - an obd.NegativeResponse when every module that answered refused;
//   - another *Status, a link error, or the context's cause.
//
// A lost link is sought again (see Config.Patience) and the request then repeated.
func (a *Adapter) Do(ctx context.Context, req obd.Request) (Answer, error) {
	attempt, reopened := 1, 0
	for ; ; attempt++ {
		answer, err := a.ask(ctx, req)
		if err == nil || ctx.Err() != nil || errors.Is(err, ErrForbidden) {
			return answer, err
		}
		if !a.gone {
			stop := err
			if attempt < mostAttempts || RemedyFor(err) == RemedyStartAgain {
				stop = a.remedy(ctx, err)
			}
			switch {
			case stop == nil && attempt < mostAttempts:
				continue
			case stop != nil && !a.gone && !a.hopeless(stop):
				return answer, stop
			case reopened == mostAttempts: // it answers others, but not this one
				return answer, err
			}
			reopened++
		}
		// The link is lost, or the adapter says nothing sensible any more: open it anew. A drive goes on after
		// any number of pulled plugs.
		if err := a.reconnect(ctx, err); err != nil {
			return Answer{}, err
		}
		attempt = 0
	}
}

// hopeless reports that the adapter does not come back to its senses by itself.
func (a *Adapter) hopeless(err error) bool {
	return RemedyFor(err) == RemedyStartAgain || errors.Is(err, NotAnAdapter)
}

// remedy does what can be done before the request is repeated, and returns the error to end with when
// nothing can.
func (a *Adapter) remedy(ctx context.Context, err error) error {
	var refused obd.NegativeResponse
	if errors.As(err, &refused) {
		if refused.Busy() {
			return a.pause(ctx, busyPause)
		}
		return err
	}
	switch RemedyFor(err) {
	case RemedyAskAgain:
		return nil
	case RemedyStartAgain:
		return a.startAgain(ctx)
	}
	return err
}

// startAgain restores the adapter's settings and the protocol after it lost them.
func (a *Adapter) startAgain(ctx context.Context) error {
	if err := a.startUp(ctx); err != nil {
		return err
	}
	return a.FindCar(ctx)
}

func (a *Adapter) pause(ctx context.Context, d time.Duration) error {
	if !a.cfg.Clock.SleepUntil(a.cfg.Clock.Now().Add(d), ctx.Done()) {
		return context.Cause(ctx)
	}
	return nil
}

// ask makes one attempt: the request, the waits that a module asks for, and the sorting of what came.
func (a *Adapter) ask(ctx context.Context, req obd.Request) (Answer, error) {
	answer, err := a.askOnce(ctx, req, a.counts.digit(req, a.cfg.Clock.Now()))
	var refused obd.NegativeResponse
	if errors.As(err, &refused) && refused.Pending() {
		return a.await(ctx, req)
	}
	return answer, err
}

// await gives a module that promised an answer time to keep its promise: the adapter is told to wait its
// longest, about a second a line, and asked again until the answer comes.
func (a *Adapter) await(ctx context.Context, req obd.Request) (Answer, error) {
	if err := a.try(ctx, "ATAT0"); err != nil {
		return Answer{}, err
	}
	if err := a.try(ctx, "ATSTFF"); err != nil {
		return Answer{}, err
	}
	end := a.cfg.Clock.Now().Add(pendingLimit)
	var answer Answer
	var err error
	for {
		answer, err = a.askOnce(ctx, req, 0)
		var refused obd.NegativeResponse
		promised := errors.As(err, &refused) && (refused.Pending() || refused.Busy())
		if !promised && !errors.Is(err, NoData) || !a.cfg.Clock.Now().Before(end) {
			break
		}
		if err := a.pause(ctx, busyPause); err != nil {
			return Answer{}, err
		}
	}
	// The next exchange would overwrite the answer: keep it apart while the timing is set back.
	answer.Messages = cloneMessages(answer.Messages)
	answer.Negatives = append([]obd.NegativeResponse(nil), answer.Negatives...)
	for _, line := range [...]string{"ATST32", "ATAT1"} {
		if err := a.try(ctx, line); err != nil {
			return Answer{}, err
		}
	}
	return answer, err
}

func cloneMessages(messages []obd.Message) []obd.Message {
	kept := make([]obd.Message, len(messages))
	for i, m := range messages {
		kept[i] = obd.Message{Module: m.Module, Data: append([]byte(nil), m.Data...)}
	}
	return kept
}

// askOnce is a single exchange. A digit above zero tells the adapter how many lines to wait for.
func (a *Adapter) askOnce(ctx context.Context, req obd.Request, digit int) (Answer, error) {
	var text [2*obd.MaxRequest + 1]byte
	line := appendRequest(text[:0], req, digit)
	if err := a.exchange(ctx, line, requestLimit); err != nil {
		return Answer{}, err
	}
	lines, err := a.sortLines(line)
	if err != nil {
		if errors.Is(err, NotUnderstood) && digit > 0 {
			a.counts.refuse() // an early adapter: it wants no digit
			return a.askOnce(ctx, req, 0)
		}
		a.counts.doubt(req)
		return Answer{}, fmt.Errorf("%s: %w", line, err)
	}
	answer, err := a.collect(req)
	if err != nil {
		a.counts.doubt(req)
		return answer, fmt.Errorf("%s: %w", line, err)
	}
	if answer.Faults == nil {
		a.counts.learn(req, lines, a.received)
	}
	return answer, nil
}

const hexDigits = "0123456789ABCDEF"

func appendRequest(dst []byte, req obd.Request, digit int) []byte {
	var bytes [obd.MaxRequest]byte
	for _, b := range req.Append(bytes[:0]) {
		dst = append(dst, hexDigits[b>>4], hexDigits[b&15])
	}
	if digit > 0 {
		dst = append(dst, hexDigits[digit])
	}
	return dst
}

// sortLines feeds the data lines to the assembler, counts them, and returns the worst status among the
// other lines. Data beside a status is kept: a module may answer while the adapter complains of another.
func (a *Adapter) sortLines(sent []byte) (lines int, err error) {
	a.assembler.Reset(frame.Format{Protocol: a.protocol, Headers: a.headers})
	var complaint error
	first := true
	for line, rest := nextLine(a.answer); line != nil; line, rest = nextLine(rest) {
		if first && string(line) == string(sent) {
			first = false
			continue // echo
		}
		first = false
		if !isData(line) {
			data, status := word(line)
			if status != nil {
				complaint = worse(complaint, status)
				continue
			}
			if line = data; len(line) == 0 {
				continue
			}
		}
		lines++
		if e := a.assembler.Line(line); e != nil {
			complaint = worse(complaint, fmt.Errorf("%w: %w", Garbled, e))
		}
	}
	return lines, complaint
}

// worse keeps the complaint whose remedy reaches deeper.
func worse(old, next error) error {
	if old == nil || depth(RemedyFor(next)) > depth(RemedyFor(old)) {
		return next
	}
	return old
}

func depth(r Remedy) int {
	switch r {
	case RemedyAskAgain:
		return 1
	case RemedyAskForLess:
		return 2
	case RemedyWaitIgnition:
		return 3
	case RemedyTellUser:
		return 4
	case RemedyStartAgain:
		return 5
	}
	return 0
}

// collect sorts the whole messages into answers to this request, refusals of it, and late answers to an
// earlier one, which are dropped.
func (a *Adapter) collect(req obd.Request) (Answer, error) {
	whole, faults := a.assembler.Messages()
	a.messages, a.negatives = a.messages[:0], a.negatives[:0]
	var pending bool
	for _, m := range whole {
		if n, ok := obd.DecodeNegative(m); ok {
			if n.Service == req.Service() {
				pending = pending || n.Pending()
				a.negatives = append(a.negatives, n)
			}
			continue
		}
		if obd.Answers(req, m) {
			a.messages = append(a.messages, m)
		}
	}
	answer := Answer{Sent: a.sent, Received: a.received, Messages: a.messages, Negatives: a.negatives, Faults: faults}
	switch {
	case len(a.messages) > 0:
		return answer, nil
	case len(a.negatives) > 0:
		return answer, strongest(a.negatives, pending)
	case faults != nil:
		return answer, fmt.Errorf("%w: %w", Garbled, faults)
	}
	return answer, NoAnswer
}

// strongest picks the refusal that decides what to do next: a promise outranks the rest.
func strongest(negatives []obd.NegativeResponse, pending bool) error {
	for _, n := range negatives {
		if n.Pending() == pending {
			return n
		}
	}
	return negatives[0]
}
