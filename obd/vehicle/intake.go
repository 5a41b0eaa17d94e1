package vehicle

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"stumble/obd"
	"stumble/obd/elm"
)

// Voltmeter tells the supply voltage at the diagnostic socket; *elm.Adapter is one.
type Voltmeter interface {
	Voltage(ctx context.Context) (float64, error)
	Identity() string
}

// ReadIntake reads everything there is to know before anything is touched. progress, if not nil, hears what
// is being read. What the car does not have or would not tell is noted in the intake; an error is returned
// only when the car or the adapter is lost, together with what was read until then. What stays unanswered though
// the car said it has it is asked for once more at the end: a module may have been busy with something else.
func ReadIntake(ctx context.Context, car Asker, meter Voltmeter, caps *Capabilities, progress func(string)) (*obd.Intake, error) {
	r := intakeReader{ctx: ctx, car: caps.speaking(car, true), caps: caps, intake: &obd.Intake{Protocol: car.Protocol(), Adapter: meter.Identity()}}
	for _, part := range [...]struct {
		name string
		read func() error
	}{
		// Codes first: they are the evidence that anything else might disturb.
		{"trouble codes and freeze frame", r.codes},
		{"supply voltage", func() error { return r.voltage(meter) }},
		{"vehicle information", r.information},
		{"monitor status", r.monitors},
		{"on-board test results", r.tests},
		{"what hangs on the misfire codes", r.checks},
		{"live values", r.live},
		{"what was not answered", r.second},
	} {
		if progress != nil {
			progress(part.name)
		}
		if err := part.read(); err != nil {
			return r.intake, fmt.Errorf("reading %s: %w", part.name, err)
		}
	}
	return r.intake, nil
}

type intakeReader struct {
	ctx    context.Context
	car    Asker
	caps   *Capabilities
	intake *obd.Intake
	missed []wanted // what was not answered the first time
	last   bool     // there is no further time
}

// wanted is something to be read: its name, the request for it, the modules that said they have it (none: any
// may answer), and what to do with a module's messages.
type wanted struct {
	what obd.Unread // if it cannot be read
	req  obd.Request
	from []obd.Module
	keep func(obd.Module, []obd.Message)
}

func (r *intakeReader) codes() error {
	report, err := ReadCodes(r.ctx, r.car, r.caps)
	if report != nil {
		r.intake.CodeReport = *report
	}
	return err
}

func (r *intakeReader) voltage(meter Voltmeter) error {
	v, err := meter.Voltage(r.ctx)
	if err != nil {
		return note(r.ctx, &r.intake.Unread, obd.Unread{What: obd.UnreadVoltage}, err)
	}
	r.intake.Voltage = v
	return nil
}

// read asks for something that the car may do without. The time of the first answer dates the intake.
func (r *intakeReader) read(w wanted) error {
	answer, err := r.ask(w)
	switch {
	case err == nil:
	case !r.last && (errors.Is(err, elm.NoData) || elm.RemedyFor(err) == elm.RemedyAskAgain):
		r.missed = append(r.missed, w)
		return nil
	default:
		return note(r.ctx, &r.intake.Unread, w.what, err)
	}
	if r.intake.At.IsZero() {
		r.intake.At = answer.Received
	}
	for _, m := range modulesOf(answer.Messages) {
		if len(w.from) == 0 || slices.Contains(w.from, m) {
			w.keep(m, obd.ModuleMessages(answer.Messages, m))
		}
	}
	r.missing(w, answer)
	return nil
}

// ask asks all modules, and the second time those that were silent, one by one: beside another's answer theirs may not have
// had room in the adapter.
func (r *intakeReader) ask(w wanted) (elm.Answer, error) {
	aimer, can := r.car.(Aimer)
	if !r.last || !can || len(w.from) == 0 {
		return r.car.Do(r.ctx, w.req)
	}
	var all gathered
	for _, m := range w.from {
		all.take(aimer.DoOf(r.ctx, w.req, m, 0))
	}
	return all.result()
}

// missing sees to the modules whose answer is not there beside that of another.
func (r *intakeReader) missing(w wanted, answer elm.Answer) {
	answered := modulesOf(answer.Messages)
	for _, n := range answer.Negatives {
		if slices.Contains(w.from, n.Module) && !slices.Contains(answered, n.Module) {
			r.unread(w.what, n.Module, n)
			answered = append(answered, n.Module)
		}
	}
	var silent []obd.Module
	for _, m := range w.from {
		if !slices.Contains(answered, m) {
			silent = append(silent, m)
		}
	}
	switch {
	case len(silent) == 0:
	case !r.last:
		w.from = silent
		r.missed = append(r.missed, w)
	default:
		for _, m := range silent {
			r.unread(w.what, m, elm.NoData)
		}
	}
}

// modulesOf are the modules that sent messages, in the order of their first.
func modulesOf(messages []obd.Message) (out []obd.Module) {
	for _, m := range messages {
		if !slices.Contains(out, m.Module) {
			out = append(out, m.Module)
		}
	}
	return out
}

// having are the modules of which something is true.
func (c *Capabilities) having(is func(*Module) bool) (out []obd.Module) {
	for i := range c.Modules {
		if is(&c.Modules[i]) {
			out = append(out, c.Modules[i].Address)
		}
	}
	return out
}

// second reads what was missed.
func (r *intakeReader) second() error {
	r.last = true
	for _, w := range r.missed {
		if err := r.read(w); err != nil {
			return err
		}
	}
	slices.SortStableFunc(r.intake.Tests, func(a, b obd.TestResult) int { return int(a.MID) - int(b.MID) })
	return nil
}

// unread notes what a module's answer made of itself.
func (r *intakeReader) unread(what obd.Unread, m obd.Module, err error) {
	if err != nil {
		what.Module, what.Why = &m, err.Error()
		r.intake.Unread = append(r.intake.Unread, what)
	}
}

// module finds a module's entry by address. All were found when the car was asked what it supports.
func (r *intakeReader) module(address obd.Module) *obd.ModuleIntake {
	for i := range r.intake.Modules {
		if r.intake.Modules[i].Module == address {
			return &r.intake.Modules[i]
		}
	}
	r.intake.Modules = append(r.intake.Modules, obd.ModuleIntake{Module: address})
	return &r.intake.Modules[len(r.intake.Modules)-1]
}

func (r *intakeReader) information() error {
	for _, m := range r.caps.Modules {
		r.module(m.Address)
	}
	for _, item := range [...]struct {
		id   byte
		what obd.UnreadKind
		keep func(address obd.Module, messages []obd.Message) error
	}{
		{obd.InfoVIN, obd.UnreadVIN, r.keepVIN},
		{obd.InfoECUName, obd.UnreadNames, r.keepName},
		{obd.InfoCalibrations, obd.UnreadCalibrations, r.keepCalibrations},
		{obd.InfoCVNs, obd.UnreadCVNs, r.keepCVNs},
	} {
		if !r.caps.MayHaveInfo(item.id) {
			continue
		}
		has := r.caps.having(func(m *Module) bool { return m.Info.Has(item.id) })
		what := obd.Unread{What: item.what}
		err := r.read(wanted{what, obd.Info(item.id), has, func(m obd.Module, messages []obd.Message) {
			r.unread(what, m, item.keep(m, messages))
		}})
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *intakeReader) keepVIN(_ obd.Module, messages []obd.Message) error {
	vin, err := obd.DecodeVIN(r.caps.Protocol, messages)
	if r.intake.VIN == "" {
		r.intake.VIN = vin
		r.intake.VINCheck, _ = obd.ValidVIN(vin)
	}
	return err
}

func (r *intakeReader) keepName(address obd.Module, messages []obd.Message) error {
	acronym, name, err := obd.DecodeECUName(r.caps.Protocol, messages)
	if err == nil {
		r.module(address).Name = joinName(acronym, name)
	}
	return err
}

func joinName(acronym, name string) string {
	if acronym == "" || name == "" {
		return acronym + name
	}
	return acronym + " " + name
}

func (r *intakeReader) keepCalibrations(address obd.Module, messages []obd.Message) (err error) {
	r.module(address).Calibrations, err = obd.DecodeCalibrations(r.caps.Protocol, messages)
	return err
}

func (r *intakeReader) keepCVNs(address obd.Module, messages []obd.Message) (err error) {
	r.module(address).CVNs, err = obd.DecodeCVNs(r.caps.Protocol, messages)
	return err
}

func (r *intakeReader) monitors() error {
	for _, pid := range [...]byte{obd.PIDStatus, obd.PIDStatusThisCycle} {
		if !r.caps.Has(pid) {
			continue
		}
		err := r.read(wanted{obd.Unread{What: obd.UnreadMonitors}, obd.Live(pid), r.caps.withPID(pid), func(_ obd.Module, messages []obd.Message) {
			r.keepMonitors(pid, messages[0])
		}})
		if err != nil {
			return err
		}
	}
	return nil
}

func (r *intakeReader) keepMonitors(pid byte, m obd.Message) {
	status, err := obd.DecodeMonitors(m, pid)
	if err != nil {
		r.unread(obd.Unread{What: obd.UnreadMonitors}, m.Module, err)
		return
	}
	if entry := r.module(m.Module); pid == obd.PIDStatus {
		entry.Monitors = &status
	} else {
		entry.ThisCycle = &status
	}
}

func (r *intakeReader) tests() error {
	if !r.caps.Protocol.CAN() {
		return r.legacyTests()
	}
	for _, u := range r.caps.Unread {
		if u.What == obd.UnreadTests { // which there are: what they read is no whole list
			r.intake.Unread = append(r.intake.Unread, u)
		}
	}
	for _, mid := range supportedTests(r.caps) {
		what := obd.Unread{What: obd.UnreadTest, ID: mid}
		has := r.caps.having(func(m *Module) bool { return m.Tests.Has(mid) })
		err := r.read(wanted{what, obd.Test(mid), has, func(m obd.Module, messages []obd.Message) {
			results, err := obd.DecodeTests(messages[0])
			r.intake.Tests = append(r.intake.Tests, results...)
			r.unread(what, m, err)
		}})
		if err != nil {
			return err
		}
	}
	return nil
}

func supportedTests(caps *Capabilities) []byte {
	var all obd.Support
	for _, m := range caps.Modules {
		for i := range all {
			all[i] |= m.Tests[i]
		}
	}
	var out []byte
	for mid := range all.All() {
		if mid%0x20 != 0 { // those are the bitmaps
			out = append(out, mid)
		}
	}
	for _, m := range caps.Monitors { // some are there without being listed
		if !m.ByCode && !slices.Contains(out, m.MID) {
			out = append(out, m.MID)
		}
	}
	if caps.General && !slices.Contains(out, obd.MIDMisfire) {
		out = append(out, obd.MIDMisfire)
	}
	return out
}

// legacyTests asks the tests of the buses before CAN. Their bitmap is asked here, because polling has no use
// for them: their numbers are the maker's own.
func (r *intakeReader) legacyTests() error {
	var have obd.Support
	all := obd.Unread{What: obd.UnreadTests}
	err := r.read(wanted{all, obd.Test(0), nil, func(m obd.Module, messages []obd.Message) {
		r.unread(all, m, have.Add(r.caps.Protocol, messages[0]))
	}})
	if err != nil {
		return err
	}
	for tid := range have.All() {
		what := obd.Unread{What: obd.UnreadLegacyTest, ID: tid}
		err := r.read(wanted{what, obd.Test(tid), nil, func(m obd.Module, messages []obd.Message) {
			for i := range messages {
				result, err := obd.DecodeLegacyTest(messages[i])
				if err != nil {
					r.unread(what, m, err)
					continue
				}
				r.intake.Legacy = append(r.intake.Legacy, result)
			}
		}})
		if err != nil {
			return err
		}
	}
	return nil
}

// live reads every supported value once, as many at a time as the bus, the modules and the adapter allow. What a
// shared answer lacks is asked for again by itself.
func (r *intakeReader) live() error {
	size := batch
	if !r.caps.Protocol.CAN() {
		size = 1
	}
	together, alone := livePIDs(r.caps)
	for len(together) > 0 {
		n := min(size, len(together))
		if n == 1 {
			break
		}
		messages, err := r.several(together[:n])
		switch {
		case err != nil:
			return err
		case messages == nil:
			size = (n + 1) / 2
			continue
		}
		for _, pid := range together[:n] {
			if !r.told(messages, pid) {
				alone = append(alone, pid)
			}
		}
		together = together[n:]
	}
	for _, pid := range append(together, alone...) {
		if err := r.read(wanted{obd.Unread{What: obd.UnreadPID, ID: pid}, obd.Live(pid), r.caps.withPID(pid), r.keepLive}); err != nil {
			return err
		}
	}
	return nil
}

// several asks for several values at once; no messages and no error means that it cannot be had so.
func (r *intakeReader) several(pids []byte) ([]obd.Message, error) {
	answer, err := r.car.Do(r.ctx, obd.Live(pids...))
	if err != nil {
		return nil, optional(r.ctx, err)
	}
	if r.intake.At.IsZero() {
		r.intake.At = answer.Received
	}
	for _, m := range modulesOf(answer.Messages) {
		r.keepLive(m, obd.ModuleMessages(answer.Messages, m))
	}
	return answer.Messages, nil
}

// keepLive takes in the values that are not there yet: a module may have told them before another did.
func (r *intakeReader) keepLive(module obd.Module, messages []obd.Message) {
	for _, m := range messages {
		readings, err := obd.AppendLive(nil, m)
		for _, x := range readings {
			if !slices.ContainsFunc(r.intake.Live, func(y obd.Reading) bool {
				return y.Module == x.Module && y.ID == x.ID && y.Part == x.Part
			}) {
				r.intake.Live = append(r.intake.Live, x)
			}
		}
		r.unread(obd.Unread{What: obd.UnreadLive}, module, err)
	}
}

// told reports whether every module that has a value told it.
func (r *intakeReader) told(messages []obd.Message, pid byte) bool {
	for _, m := range r.caps.withPID(pid) {
		if !slices.ContainsFunc(obd.ModuleMessages(messages, m), func(x obd.Message) bool {
			_, there := obd.PIDData(x, pid)
			return there
		}) {
			return false
		}
	}
	return true
}

// withPID are the modules that support a PID of service 01.
func (c *Capabilities) withPID(pid byte) []obd.Module {
	return c.having(func(m *Module) bool { return m.PIDs.Has(pid) })
}

// livePIDs are the supported PIDs that can be decoded: those that may be asked together, and the others.
func livePIDs(caps *Capabilities) (together, alone []byte) {
	for _, pid := range values(caps) {
		if d, _ := obd.DescribePID(pid); d.Batchable() {
			together = append(together, pid)
		} else {
			alone = append(alone, pid)
		}
	}
	return together, alone
}

// ReadVIN reads the vehicle identification number, empty when the car does not tell; checkOK as for
// obd.ValidVIN.
func ReadVIN(ctx context.Context, car Asker, caps *Capabilities) (vin string, checkOK bool, err error) {
	if !caps.MayHaveInfo(obd.InfoVIN) {
		return "", false, nil
	}
	answer, err := askTwice(ctx, caps.speaking(car, true), obd.Info(obd.InfoVIN))
	if err != nil {
		return "", false, optional(ctx, err)
	}
	modules := modulesOf(answer.Messages)
	slices.SortFunc(modules, func(a, b obd.Module) int { return int(a.ID) - int(b.ID) })
	for _, m := range modules {
		if vin == "" {
			vin, _ = obd.DecodeVIN(caps.Protocol, obd.ModuleMessages(answer.Messages, m)) // one that cannot be right is shown as it came
			checkOK, _ = obd.ValidVIN(vin)
		}
	}
	return vin, checkOK, nil
}
