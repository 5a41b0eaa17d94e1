package elm

import (
	"context"
	"errors"
	"fmt"
	"slices"
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
	a.aim, a.expect = "", 0
	return a.do(ctx, req)
}

// DoOf is Do for one module: the others are not asked, so that nobody's answer need be waited for. lines is how many
// lines its answer is taken to have, 0 where that is not known; an answer that has more is asked again without. Before CAN,
// and where the adapter cannot address one module, it is Do.
func (a *Adapter) DoOf(ctx context.Context, req obd.Request, m obd.Module, lines int) (Answer, error) {
	a.aim, a.expect = "", 0
	if a.protocol.CAN() && a.headers && !a.aimless && m.Bits == bitsOf(a.protocol) {
		a.aim, a.expect = a.headerOf(m), lines
	}
	return a.do(ctx, req)
}

func (a *Adapter) do(ctx context.Context, req obd.Request) (Answer, error) {
	attempt, reopened := 1, 0
	for ; ; attempt++ {
		answer, err := a.ask(ctx, req)
		switch {
		case attempt == mostAttempts && ctx.Err() == nil && a.crowded(req, &answer, err):
			if one, e := a.oneByOne(ctx, req); !errors.Is(e, NotUnderstood) {
				answer, err = one, e
			}
		case err == nil && attempt < mostAttempts && answer.lacking():
			if err = a.lack(ctx, answer); err == nil {
				continue
			}
		}
		if err == nil || ctx.Err() != nil || errors.Is(err, ErrForbidden) {
			return answer, err
		}
		if !a.gone {
			stop := err
			if attempt < mostAttempts || RemedyFor(err) == RemedyStartAgain {
				stop = a.remedy(ctx, err, attempt)
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

// lacking reports that a module's answer is missing beside those of others, and may be had by asking again.
func (a *Answer) lacking() bool {
	return a.Faults != nil || slices.ContainsFunc(a.Negatives, obd.NegativeResponse.Busy)
}

// lack gives a module time that asked for it, before the request is repeated.
func (a *Adapter) lack(ctx context.Context, answer Answer) error {
	if slices.ContainsFunc(answer.Negatives, obd.NegativeResponse.Busy) {
		return a.pause(ctx, busyPause)
	}
	return nil
}

// hopeless reports that the adapter does not come back to its senses by itself.
func (a *Adapter) hopeless(err error) bool {
	return RemedyFor(err) == RemedyStartAgain || errors.Is(err, NotAnAdapter)
}

// remedy does what can be done before the request is repeated, and returns the error to end with when
// nothing can.
func (a *Adapter) remedy(ctx context.Context, err error, attempt int) error {
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
		if errors.Is(err, Unfinished) && attempt == 1 {
			return nil // a prompt lost on the way: asking again is quicker than starting again
		}
		if errors.Is(err, InternalError) {
			if err := a.command(ctx, "ATFE", commandLimit); err != nil && !errors.Is(err, NotUnderstood) {
				return err
			}
		}
		return a.startAgain(ctx)
	case RemedyWaitIgnition:
		// A car fell silent whose protocol is known. An adapter left to itself would go through all of them at
		// each request, for eight seconds and more, and miss the moment the car wakes.
		if !a.fixed && a.protocol != obd.ProtocolUnknown {
			if e := a.fix(ctx, a.protocol); e != nil && !errors.Is(e, NotUnderstood) {
				return e
			}
		}
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
	if err := a.putBack(ctx); err != nil {
		return Answer{}, err
	}
	if !a.protocol.CAN() { // another car was found meanwhile
		a.aim, a.expect = "", 0
	}
	if err := a.point(ctx, a.aim); err != nil {
		return Answer{}, err
	}
	now := a.cfg.Clock.Now()
	digit := a.counts.digit(a.key(req), now, a.expect)
	answer, err := a.askOnce(ctx, now, req, digit)
	switch {
	case digit == 0:
	case errors.Is(err, NoData) && ctx.Err() == nil:
		if answer, err = a.askOnce(ctx, a.cfg.Clock.Now(), req, 0); err == nil {
			a.counts.fail(a.key(req))
		}
	case errors.Is(err, Silent):
		a.counts.refuse() // some take it for something that they think about for long
	}
	a.hurry(err)
	if len(a.promised) > 0 {
		return a.await(ctx, req)
	}
	return answer, err
}

// hurry has an adapter that takes no count digit wait less after each answer, in its own measure (ATAT2): else it waits
// for a module that will not speak, tens of milliseconds a request. The first answer that does not come ends it for good.
func (a *Adapter) hurry(err error) {
	switch {
	case a.counts.use || a.cfg.WholeWait || a.hurries == gaveUp:
	case a.hurries == notYet && err == nil:
		a.hurries = hurrying
		a.owed = append(a.owed, "ATAT2")
	case a.hurries == hurrying && errors.Is(err, NoData):
		a.hurries = gaveUp
		a.owed = append(a.owed, "ATAT1")
	}
}

// await gives the modules that promised an answer time to keep their promise: the adapter is told to wait its
// longest, about a second a line, and asked again until each of them has answered. A module that is at work on
// its promise answers nothing else, so nothing else is asked until then.
func (a *Adapter) await(ctx context.Context, req obd.Request) (Answer, error) {
	waiting := append([]obd.NegativeResponse(nil), a.promised...)
	a.owed = append(a.owed, a.usualWait(), "ATAT1")
	for _, line := range [...]string{"ATAT0", "ATSTFF"} {
		if err := a.try(ctx, line); err != nil {
			return Answer{}, err
		}
	}
	a.patience = patienceLong
	answer, err := a.awaitAll(ctx, req, waiting)
	a.patience = 0
	// The next exchange would overwrite the answer: keep it apart while the timing is set back.
	answer.Messages = cloneMessages(answer.Messages)
	answer.Negatives = append([]obd.NegativeResponse(nil), answer.Negatives...)
	if err != nil && RemedyFor(err) != RemedyNone && !errors.As(err, new(obd.NegativeResponse)) {
		return answer, err // the adapter or the link: first things first
	}
	if e := a.putBack(ctx); e != nil {
		return Answer{}, e
	}
	return answer, err
}

// putBack sends the settings that were changed for a while, unless that has been done: what changed them may have
// been cut short.
func (a *Adapter) putBack(ctx context.Context) error {
	for len(a.owed) > 0 {
		if err := a.try(ctx, a.owed[0]); err != nil {
			return err
		}
		a.owed = a.owed[1:]
	}
	return nil
}

// awaitAll asks until nobody is waited for, or time is up.
func (a *Adapter) awaitAll(ctx context.Context, req obd.Request, waiting []obd.NegativeResponse) (Answer, error) {
	end := a.cfg.Clock.Now().Add(pendingLimit)
	for {
		answer, err := a.askOnce(ctx, a.cfg.Clock.Now(), req, 0)
		waiting = slices.DeleteFunc(waiting, answer.keeps)
		var refused obd.NegativeResponse
		again := err == nil || errors.Is(err, NoData) || errors.As(err, &refused) && (refused.Pending() || refused.Busy())
		switch {
		case len(waiting) == 0 && len(a.promised) == 0, !again:
			return answer, err
		case !a.cfg.Clock.Now().Before(end):
			if errors.Is(err, NoData) {
				err = waiting[0]
			}
			return answer, err
		}
		if err := a.pause(ctx, busyPause); err != nil {
			return Answer{}, err
		}
	}
}

// keeps reports whether an answer holds what a module promised: anything from it but another promise.
func (a *Answer) keeps(promise obd.NegativeResponse) bool {
	return slices.ContainsFunc(a.Messages, func(m obd.Message) bool { return m.Module == promise.Module }) ||
		slices.ContainsFunc(a.Negatives, func(n obd.NegativeResponse) bool {
			return n.Module == promise.Module && !n.Pending() && !n.Busy()
		})
}

func cloneMessages(messages []obd.Message) []obd.Message {
	kept := make([]obd.Message, len(messages))
	for i, m := range messages {
		kept[i] = obd.Message{Module: m.Module, Data: append([]byte(nil), m.Data...)}
	}
	return kept
}

// askOnce is a single exchange. A digit above zero tells the adapter how many lines to wait for.
func (a *Adapter) askOnce(ctx context.Context, now time.Time, req obd.Request, digit int) (Answer, error) {
	a.promised = a.promised[:0]
	a.line = appendRequest(a.line[:0], req, digit)
	if err := a.exchangeAt(ctx, now, a.line, requestLimit); err != nil {
		return Answer{}, err
	}
	lines, err := a.sortLines()
	if err != nil {
		if errors.Is(err, NotUnderstood) && digit > 0 {
			a.counts.refuse() // an early adapter: it wants no digit
			return a.askOnce(ctx, a.cfg.Clock.Now(), req, 0)
		}
		a.counts.doubt(a.key(req))
		return Answer{}, fmt.Errorf("%s: %w", a.line, err)
	}
	answer, stray, err := a.collect(req)
	switch {
	case err != nil:
		a.counts.doubt(a.key(req))
		return answer, fmt.Errorf("%s: %w", a.line, err)
	case stray || answer.Faults != nil:
		// Lines of an earlier exchange took the places of this one's: the count cut it short.
		a.counts.doubt(a.key(req))
	default:
		a.counts.learn(a.key(req), lines, a.received)
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
func (a *Adapter) sortLines() (lines int, err error) {
	a.assembler.Reset(frame.Format{Protocol: a.protocol, Headers: a.headers})
	var complaint error
	first, echo := true, false
	for line, rest := nextLine(a.answer); line != nil; line, rest = nextLine(rest) {
		if first && string(line) == string(a.line) {
			first, echo = false, true
			continue
		}
		first = false
		if !isData(line) {
			data, status := word(line)
			if status != nil {
				a.unsure = a.unsure || unbidden(status)
				complaint = worse(complaint, status)
				continue
			}
			if line = data; len(line) == 0 {
				continue
			}
		}
		lines++
		if e := a.assembler.Line(line); e != nil && !a.stranger(line, e) {
			complaint = worse(complaint, fmt.Errorf("%w: %w", Garbled, e))
		}
	}
	if complaint != nil && echo && !a.echoes {
		complaint = Rebooted // it was told not to repeat what it is sent, and has forgotten that and the rest
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

// collect sorts the whole messages into answers to this request, refusals of it, and promises to answer it.
// Late answers to an earlier request are dropped, and the earlier of two by one module, since on CAN a module
// answers once; stray tells of both.
func (a *Adapter) collect(req obd.Request) (answer Answer, stray bool, err error) {
	whole, faults := a.assembler.Messages()
	a.messages, a.negatives = a.messages[:0], a.negatives[:0]
	for _, m := range whole {
		if n, ok := obd.DecodeNegative(m); ok {
			if n.Service == req.Service() {
				a.negatives = append(a.negatives, n)
			} else {
				stray = true
			}
			continue
		}
		if !obd.Answers(req, m) {
			stray = true
			continue
		}
		a.remember(req, m)
		stray = a.keep(m) || stray
	}
	answer = Answer{Sent: a.sent, Received: a.received, Messages: a.messages, Negatives: a.negatives, Faults: faults}
	for _, n := range a.negatives {
		if n.Pending() && !answer.keeps(n) {
			a.promised = append(a.promised, n)
		}
	}
	switch {
	case len(a.messages) > 0:
		return answer, stray, nil
	case len(a.promised) > 0:
		return answer, stray, a.promised[0]
	case len(a.negatives) > 0:
		return answer, stray, last(a.negatives)
	case faults != nil:
		return answer, stray, fmt.Errorf("%w: %w", Garbled, faults)
	}
	a.unsure = true // this prompt may be that of the request which these lines do answer
	return answer, stray, NoAnswer
}

// keep adds a message to the answer, in the place of an earlier one from the same module.
func (a *Adapter) keep(m obd.Message) (replaced bool) {
	if a.headers && a.protocol.CAN() {
		for i := range a.messages {
			if a.messages[i].Module == m.Module {
				a.messages[i] = m
				return true
			}
		}
	}
	a.messages = append(a.messages, m)
	return false
}

// last is the refusal that decides what to do next: one that says something, if there is any.
func last(negatives []obd.NegativeResponse) obd.NegativeResponse {
	for _, n := range negatives {
		if !n.Pending() {
			return n
		}
	}
	return negatives[0]
}
