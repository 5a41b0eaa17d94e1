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
	r := intakeReader{ctx: ctx, car: car, caps: caps, intake: &obd.Intake{Protocol: car.Protocol(), Adapter: meter.Identity()}}
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

// wanted is something to be read: its name, the request for it, and what to do with the answer.
type wanted struct {
	name string
	req  obd.Request
	keep func([]obd.Message)
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
		return note(r.ctx, &r.intake.Unread, "supply voltage", err)
	}
	r.intake.Voltage = v
	return nil
}

// read asks for something that the car may do without. The time of the first answer dates the intake.
func (r *intakeReader) read(w wanted) error {
	answer, err := r.car.Do(r.ctx, w.req)
	switch {
	case err == nil:
	case errors.Is(err, elm.NoData) && !r.last:
		r.missed = append(r.missed, w)
		return nil
	default:
		return note(r.ctx, &r.intake.Unread, w.name, err)
	}
	if r.intake.At.IsZero() {
		r.intake.At = answer.Received
	}
	w.keep(answer.Messages)
	return nil
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
func (r *intakeReader) unread(what string, m obd.Module, err error) {
	if err != nil {
		r.intake.Unread = append(r.intake.Unread, fmt.Sprintf("%s of module %v: %v", what, m, err))
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
		name string
		keep func(address obd.Module, messages []obd.Message) error
	}{
		{obd.InfoVIN, "vehicle identification number", r.keepVIN},
		{obd.InfoECUName, "module names", r.keepName},
		{obd.InfoCalibrations, "calibration identifications", r.keepCalibrations},
		{obd.InfoCVNs, "calibration verification numbers", r.keepCVNs},
	} {
		if !r.caps.HasInfo(item.id) {
			continue
		}
		err := r.read(wanted{item.name, obd.Info(item.id), func(messages []obd.Message) {
			for _, m := range r.caps.Modules {
				if mine := obd.ModuleMessages(messages, m.Address); len(mine) > 0 {
					r.unread(item.name, m.Address, item.keep(m.Address, mine))
				}
			}
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
		err := r.read(wanted{"monitor status", obd.Live(pid), func(messages []obd.Message) {
			for _, m := range messages {
				r.keepMonitors(pid, m)
			}
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
		r.unread("monitor status", m.Module, err)
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
	for _, mid := range supportedTests(r.caps) {
		name := obd.MonitorName(mid)
		err := r.read(wanted{name, obd.Test(mid), func(messages []obd.Message) {
			for _, m := range messages {
				results, err := obd.DecodeTests(m)
				r.intake.Tests = append(r.intake.Tests, results...)
				r.unread(name, m.Module, err)
			}
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
	return out
}

// legacyTests asks the tests of the buses before CAN. Their bitmap is asked here, because polling has no use
// for them: their numbers are the maker's own.
func (r *intakeReader) legacyTests() error {
	var have obd.Support
	err := r.read(wanted{"on-board tests", obd.Test(0), func(messages []obd.Message) {
		for _, m := range messages {
			r.unread("on-board tests", m.Module, have.Add(r.caps.Protocol, m))
		}
	}})
	if err != nil {
		return err
	}
	for tid := range have.All() {
		name := fmt.Sprintf("on-board test %02X", tid)
		err := r.read(wanted{name, obd.Test(tid), func(messages []obd.Message) {
			for _, m := range messages {
				result, err := obd.DecodeLegacyTest(m)
				if err != nil {
					r.unread(name, m.Module, err)
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
			if !holds(messages, pid) {
				alone = append(alone, pid)
			}
		}
		together = together[n:]
	}
	for _, pid := range append(together, alone...) {
		d, _ := obd.DescribePID(pid)
		if err := r.read(wanted{d.Name, obd.Live(pid), r.keepLive}); err != nil {
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
	r.keepLive(answer.Messages)
	return answer.Messages, nil
}

func (r *intakeReader) keepLive(messages []obd.Message) {
	for _, m := range messages {
		var err error
		r.intake.Live, err = obd.AppendLive(r.intake.Live, m)
		r.unread("live values", m.Module, err)
	}
}

func holds(messages []obd.Message, pid byte) bool {
	return slices.ContainsFunc(messages, func(m obd.Message) bool {
		_, there := obd.PIDData(m, pid)
		return there
	})
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
	if !caps.HasInfo(obd.InfoVIN) {
		return "", false, nil
	}
	answer, err := car.Do(ctx, obd.Info(obd.InfoVIN))
	if err != nil {
		return "", false, optional(ctx, err)
	}
	for _, m := range caps.Modules {
		if mine := obd.ModuleMessages(answer.Messages, m.Address); len(mine) > 0 && vin == "" {
			vin, _ = obd.DecodeVIN(caps.Protocol, mine) // a number that cannot be right is shown as it came
			checkOK, _ = obd.ValidVIN(vin)
		}
	}
	return vin, checkOK, nil
}
