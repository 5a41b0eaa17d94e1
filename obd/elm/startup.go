package elm

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"stumble/obd"
)

// Time limits of an exchange. A reset takes about a second, a search of all protocols ten and more, a
// 5-baud start about five (data sheet pages 9, 33 and 89); the rest is quick.
const (
	commandLimit = 3 * time.Second
	resetLimit   = 6 * time.Second
	searchLimit  = 40 * time.Second
	meetLimit    = time.Second // for its name, which every adapter knows by heart
)

// Identify asks a freshly opened link whether an adapter is at the other end. It is the question to find
// the speed of a serial port with: it resets nothing, and unlike a lone carriage return it cannot repeat
// what another program sent last.
func Identify(ctx context.Context, cfg Config, link Link) error {
	a := &Adapter{cfg: cfg, link: link}
	defer a.unwatch()
	for range 2 { // the first try may meet the tail of garbage sent at another speed
		err := a.commandOnce(ctx, "ATI", time.Second)
		if err == nil && looksLikeText(a.answer) {
			return nil
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err != nil && !errors.Is(err, NotUnderstood) {
			if errors.Is(err, Silent) {
				return err
			}
			continue
		}
	}
	return NotAnAdapter
}

// looksLikeText tells an identity from what a wrong speed makes of it.
func looksLikeText(answer []byte) bool {
	letters := 0
	for _, c := range answer {
		if c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' {
			letters++
		}
	}
	return letters >= 3 && letters*2 > len(answer)
}

// command sends a set-up command and reads its answer; the adapter's "?" is the error NotUnderstood. An answer
// whose prompt was lost on the way is asked for once more.
func (a *Adapter) command(ctx context.Context, line string, limit time.Duration) error {
	err := a.commandOnce(ctx, line, limit)
	if errors.Is(err, Unfinished) && ctx.Err() == nil {
		err = a.commandOnce(ctx, line, limit)
	}
	return err
}

func (a *Adapter) commandOnce(ctx context.Context, line string, limit time.Duration) error {
	if err := a.exchange(ctx, []byte(line), limit); err != nil {
		return err
	}
	a.dropEcho(line)
	var last []byte
	for l, rest := nextLine(a.answer); l != nil; l, rest = nextLine(rest) {
		if _, status := word(l); status != nil && alarm(status) {
			a.unsure = true
			return fmt.Errorf("%s: %w", line, status)
		}
		last = l
	}
	if string(last) == NotUnderstood.text {
		return fmt.Errorf("%s: %w", line, NotUnderstood)
	}
	return nil
}

// dropEcho takes the first line away when it is what was sent, and tells so.
func (a *Adapter) dropEcho(sent string) bool {
	line, after := nextLine(a.answer)
	if string(line) != sent || after == nil {
		return false
	}
	a.answer = after
	return true
}

// startUp puts the adapter into the one state that the rest of this package relies on. Only one question about itself
// must be answered: anything else that a simple adapter does not know is survived, since answers are read whatever
// their shape.
func (a *Adapter) startUp(ctx context.Context) error {
	a.heard, a.header = nil, ""
	if err := a.meet(ctx); err != nil {
		return err
	}
	a.owed = nil // all is as it was made
	for _, line := range [...]string{
		"ATE0",   // no echo
		"ATL0",   // no line feeds: fewer bytes
		"ATS0",   // no spaces: fewer bytes
		"ATCAF1", // let the adapter form CAN frames
		"ATAT1",  // adaptive timing: wait about as long as this car needs
	} {
		if err := a.try(ctx, line); err != nil {
			return err
		}
	}
	err := a.command(ctx, "ATH1", commandLimit)
	if err != nil && !errors.Is(err, NotUnderstood) {
		return err
	}
	a.headers = err == nil
	if a.hurries == hurrying {
		a.hurries = notYet
	}
	if a.slow {
		if err := a.try(ctx, a.usualWait()); err != nil {
			return err
		}
	}
	return a.hasten(ctx)
}

// usualWait sets how long the adapter waits for an answer: a fifth of a second, as it does when it is told nothing, or
// three where the modules have shown to be slow (reports of 400 ms: adapter-faults sheet, row 11).
func (a *Adapter) usualWait() string {
	if a.slow {
		return "ATST96"
	}
	return "ATST32"
}

// meet finds out who is there and has it begin afresh. The name is asked for first: unlike a reset, every adapter
// answers that at once, at the speed it happens to have, and unlike a lone carriage return it cannot repeat what another
// program sent last. Then the short reset, and the long one where the adapter does not know that; some cables answer
// neither, and are set up as they are.
func (a *Adapter) meet(ctx context.Context) error {
	named := a.named(ctx)
	if ctx.Err() != nil || a.gone {
		return named
	}
	err := a.warmStart(ctx, named == nil)
	switch {
	case a.gone || ctx.Err() != nil:
		return err
	case err != nil && named == nil: // it has a name, and knows no reset
		return a.try(ctx, "ATD")
	case err != nil:
		return err
	case named != nil:
		return a.identify(ctx)
	}
	return nil
}

// named asks for the adapter's name, and for its description where it has none.
func (a *Adapter) named(ctx context.Context) (err error) {
	a.unsure = false // the question is harmless in any state, and what else comes is thrown away
	for _, line := range [...]string{probe, probe, "AT@1"} {
		a.heard = nil // whatever it lost, it is set up anew
		err = a.commandOnce(ctx, line, meetLimit)
		if ctx.Err() != nil || a.gone {
			return err
		}
		first, _ := nextLine(a.answer)
		if err == nil && looksLikeText(first) && !isData(first) {
			a.identity = identityOf(first)
			err = a.drain(ctx, hush)
			a.heard = nil
			return err
		}
		a.unsure = true
	}
	if err == nil {
		err = NotAnAdapter
	}
	return err
}

// hush is how long a line must be quiet after the first answer of all before what comes is taken for the answer to
// the next question.
const hush = 40 * time.Millisecond

func identityOf(line []byte) string { return strings.Replace(string(line), "V", " v", 1) }

// warmStart restarts the adapter by the short reset, or by the long one. An adapter that has told its name is given less
// time: it hears well.
func (a *Adapter) warmStart(ctx context.Context, hears bool) error {
	err := a.commandOnce(ctx, "ATWS", commandLimit)
	if err == nil || ctx.Err() != nil || a.gone {
		return err
	}
	a.unsure = true
	if hears {
		err = a.commandOnce(ctx, "ATZ", commandLimit)
		if errors.Is(err, NotUnderstood) || alarmed(err) {
			err = nil
		}
		return err
	}
	return a.reset(ctx)
}

// try sends a set-up command that an adapter may do without.
func (a *Adapter) try(ctx context.Context, line string) error {
	if err := a.command(ctx, line, commandLimit); err != nil && !errors.Is(err, NotUnderstood) {
		return err
	}
	return nil
}

// reset restarts the adapter. One that does not answer in time is given a second chance: it may have been
// in the middle of something. A reset's answer is never parsed, clones garble it.
func (a *Adapter) reset(ctx context.Context) error {
	err := a.commandOnce(ctx, "ATZ", resetLimit)
	if errors.Is(err, Silent) || errors.Is(err, Unfinished) || alarmed(err) {
		err = a.commandOnce(ctx, "ATZ", resetLimit)
	}
	switch {
	case errors.Is(err, Unfinished):
		return NotAnAdapter
	case errors.Is(err, NotUnderstood), alarmed(err):
		return nil
	}
	return err
}

// alarmed reports an error that is an alarm of the adapter.
func alarmed(err error) bool {
	var s *Status
	return errors.As(err, &s) && alarm(s)
}

func (a *Adapter) identify(ctx context.Context) error {
	if err := a.command(ctx, "ATI", commandLimit); err != nil {
		if errors.Is(err, NotUnderstood) {
			return NotAnAdapter
		}
		return err
	}
	line, _ := nextLine(a.answer)
	if !looksLikeText(line) {
		return NotAnAdapter
	}
	a.identity = identityOf(line)
	return nil
}

// FindCar makes the adapter search for the car's protocol, or take up the one it remembers, and asks which
// PIDs of service 01 there are, which every car answers.
func (a *Adapter) FindCar(ctx context.Context) error {
	if a.header != "" { // the first request is for all modules
		if err := a.point(ctx, ""); err != nil {
			return err
		}
	}
	if a.protocol != obd.ProtocolUnknown {
		err := a.takeUp(ctx, a.protocol)
		if err == nil || RemedyFor(err) == RemedyStartAgain || ctx.Err() != nil {
			return err
		}
	}
	err := a.search(ctx)
	if err == nil || RemedyFor(err) != RemedyWaitIgnition || a.swept || a.gone || ctx.Err() != nil {
		return err
	}
	// Nobody answered. Once, it is tried again from a fresh start and with the longest wait: some adapters hear nobody any
	// more after they tried a wrong protocol, and some modules take longer than an adapter waits.
	a.swept = true
	if err := a.startUp(ctx); err != nil {
		return err
	}
	if err := a.try(ctx, "ATSTFF"); err != nil {
		return err
	}
	err = a.sweepAgain(ctx)
	a.slow = err == nil
	if e := a.try(ctx, a.usualWait()); e != nil {
		return e
	}
	return err
}

// sweepAgain lets the adapter search by itself before anything else is tried: it was told no protocol since its reset.
func (a *Adapter) sweepAgain(ctx context.Context) error {
	err := a.command(ctx, "ATSP0", commandLimit)
	if err == nil {
		err = a.found(ctx)
	}
	if err == nil || a.gone || ctx.Err() != nil {
		return err
	}
	return a.search(ctx)
}

// search tries the usual protocol, then lets the adapter search through all.
func (a *Adapter) search(ctx context.Context) error {
	a.counts.forget()
	a.modules, a.modern, a.byID, a.fixed = a.modules[:0], nil, false, false
	if found, err := a.usual(ctx); found || err != nil {
		return err
	}
	err := a.command(ctx, "ATSP0", commandLimit)
	if errors.Is(err, NotUnderstood) {
		return a.tryEach(ctx)
	}
	if err != nil {
		return err
	}
	return a.found(ctx)
}

// found makes the first request of an adapter that searches, and learns what it found.
func (a *Adapter) found(ctx context.Context) error {
	guess, err := a.firstContact(ctx)
	if err != nil {
		return a.askModern(ctx, err)
	}
	p, err := a.askProtocol(ctx)
	if err != nil {
		return err
	}
	if p == obd.ProtocolUnknown { // some adapters do not know what they found
		p = guess
	}
	if p == obd.ProtocolUnknown {
		return a.tryEach(ctx)
	}
	a.protocol = p
	return nil
}

// usual tries the protocol of nearly every car of the last fifteen years before the adapter searches through all: the
// search takes a second and more. An adapter may say OK and search all the same, so what answered must look like it.
func (a *Adapter) usual(ctx context.Context) (found bool, err error) {
	const p = obd.CAN11At500
	if a.protocol == p {
		return false, nil // it was tried just now
	}
	err = a.fix(ctx, p)
	guess := obd.ProtocolUnknown
	if err == nil {
		guess, err = a.firstContact(ctx)
	}
	if err == nil && guess == obd.ProtocolUnknown {
		guess, err = a.askProtocol(ctx)
	}
	// The bus took the question and nobody answered: a car of SAE J1979-2 does so.
	if err != nil && bytes.Contains(a.answer, []byte(NoData.text)) && a.contactByID(ctx, p) == nil {
		return true, nil
	}
	switch {
	case err == nil && guess == p:
		a.protocol = p
		return true, nil
	case err != nil && (a.gone || ctx.Err() != nil || RemedyFor(err) == RemedyStartAgain):
		return false, err
	}
	a.fixed = false
	return false, nil
}

// takeUp sets one protocol and makes sure that the car speaks it.
func (a *Adapter) takeUp(ctx context.Context, p obd.Protocol) error {
	if err := a.fix(ctx, p); err != nil {
		return err
	}
	if a.byID {
		return a.contactByID(ctx, p)
	}
	_, err := a.firstContact(ctx)
	return err
}

// fix sets one protocol, so that the adapter looks for no other when nobody answers.
func (a *Adapter) fix(ctx context.Context, p obd.Protocol) error {
	err := a.command(ctx, fmt.Sprintf("ATSP%X", byte(p)), commandLimit)
	a.fixed = err == nil
	return err
}

// tryEach goes through the protocols in the order in which cars are likeliest to speak them, for adapters
// that cannot search or will not say what they found.
func (a *Adapter) tryEach(ctx context.Context) error {
	for _, p := range [...]obd.Protocol{obd.CAN11At500, obd.CAN11At250, obd.J1850PWM, obd.CAN29At500,
		obd.CAN29At250, obd.J1850VPW, obd.ISO9141, obd.KWP5Baud, obd.KWPFast} {
		err := a.takeUp(ctx, p)
		if p.CAN() && RemedyFor(err) == RemedyWaitIgnition && ctx.Err() == nil {
			err = a.contactByID(ctx, p)
		}
		if err == nil {
			a.protocol = p
			return nil
		}
		if ctx.Err() != nil || a.gone {
			return err
		}
	}
	return NoVehicle
}

// firstContact sends the first request of all and returns what its first data line looks like.
func (a *Adapter) firstContact(ctx context.Context) (obd.Protocol, error) {
	const line = "0100"
	for attempt := 0; ; attempt++ {
		if err := a.exchange(ctx, []byte(line), searchLimit); err != nil {
			if errors.Is(err, Unfinished) && attempt < 2 {
				continue // a prompt lost on the way
			}
			return obd.ProtocolUnknown, err
		}
		a.echoes = a.dropEcho(line)
		first, err := a.firstData()
		if err == nil {
			return protocolOf(first), nil
		}
		if RemedyFor(err) != RemedyAskAgain || attempt == 2 {
			if errors.Is(err, NoData) { // a searching adapter settles on nothing
				err = NoVehicle
			}
			return obd.ProtocolUnknown, fmt.Errorf("%s: %w", line, err)
		}
	}
}

// firstData is the first line of the answer that carries data, or the status that came instead.
func (a *Adapter) firstData() ([]byte, error) {
	var first error = NoAnswer
	for line, rest := nextLine(a.answer); line != nil; line, rest = nextLine(rest) {
		data, status := line, (*Status)(nil)
		if !isData(line) {
			data, status = word(line)
		}
		switch {
		case refuses(data):
			first = NoData // a gateway may refuse what is asked of all: that is nobody's engine
		case len(data) > 0:
			return data, nil
		}
		if status != nil {
			a.unsure = a.unsure || unbidden(status)
			first = status
		}
	}
	return nil, first
}

// refuses reports a line that says that a module does not know the first request.
func refuses(line []byte) bool {
	return bytes.Contains(line, []byte("7F01")) && !bytes.Contains(line, []byte("4100"))
}

// askProtocol asks the adapter what it found: "6", or "A6" when it found it by searching.
func (a *Adapter) askProtocol(ctx context.Context) (obd.Protocol, error) {
	err := a.command(ctx, "ATDPN", commandLimit)
	if errors.Is(err, NotUnderstood) {
		return obd.ProtocolUnknown, nil
	}
	if err != nil {
		return obd.ProtocolUnknown, err
	}
	line, _ := nextLine(a.answer)
	line = bytes.TrimPrefix(line, []byte("A"))
	if len(line) != 1 || line[0] < '1' || line[0] > '9' {
		return obd.ProtocolUnknown, nil
	}
	return obd.Protocol(line[0] - '0'), nil
}

// protocolOf guesses the protocol from the header of the first line. Which speed a CAN bus runs at, and
// how a K-line was woken, makes no difference to how answers are read.
func protocolOf(line []byte) obd.Protocol {
	text := string(line)
	switch {
	case len(text)%2 == 1 && strings.HasPrefix(text, "7E"):
		return obd.CAN11At500
	case strings.HasPrefix(text, "18DA"):
		return obd.CAN29At500
	case strings.HasPrefix(text, "416B"):
		return obd.J1850PWM
	case strings.HasPrefix(text, "8") || strings.HasPrefix(text, "C"):
		return obd.KWPFast
	}
	return obd.ProtocolUnknown // 48 6B is J1850 VPW or ISO 9141-2: only trying tells
}
