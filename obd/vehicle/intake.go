package vehicle

import (
	"context"
	"errors"
	"fmt"

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
// only when the car or the adapter is lost, together with what was read until then.
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

// ask sends a request that the car may do without, noting a failure under a name. Its messages are copied,
// since the next request would overwrite them; the time of the first answer dates the intake.
func (r *intakeReader) ask(what string, req obd.Request) ([]obd.Message, error) {
	answer, err := r.car.Do(r.ctx, req)
	if err != nil {
		return nil, note(r.ctx, &r.intake.Unread, what, err)
	}
	if r.intake.At.IsZero() {
		r.intake.At = answer.Received
	}
	kept := make([]obd.Message, len(answer.Messages))
	for i, m := range answer.Messages {
		kept[i] = obd.Message{Module: m.Module, Data: append([]byte(nil), m.Data...)}
	}
	return kept, nil
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
		messages, err := r.ask(item.name, obd.Info(item.id))
		if err != nil {
			return err
		}
		for _, m := range r.caps.Modules {
			mine := obd.ModuleMessages(messages, m.Address)
			if len(mine) == 0 {
				continue
			}
			if err := item.keep(m.Address, mine); err != nil {
				r.intake.Unread = append(r.intake.Unread, fmt.Sprintf("%s of module %v: %v", item.name, m.Address, err))
			}
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
		messages, err := r.ask("monitor status", obd.Live(pid))
		if err != nil {
			return err
		}
		for _, m := range messages {
			status, err := obd.DecodeMonitors(m, pid)
			if err != nil {
				r.intake.Unread = append(r.intake.Unread, fmt.Sprintf("monitor status of module %v: %v", m.Module, err))
				continue
			}
			if entry := r.module(m.Module); pid == obd.PIDStatus {
				entry.Monitors = &status
			} else {
				entry.ThisCycle = &status
			}
		}
	}
	return nil
}

func (r *intakeReader) tests() error {
	if !r.caps.Protocol.CAN() {
		return r.legacyTests()
	}
	for _, mid := range supportedTests(r.caps) {
		messages, err := r.ask(obd.MonitorName(mid), obd.Test(mid))
		if err != nil {
			return err
		}
		for _, m := range messages {
			results, err := obd.DecodeTests(m)
			r.intake.Tests = append(r.intake.Tests, results...)
			if err != nil {
				r.intake.Unread = append(r.intake.Unread, fmt.Sprintf("%s of module %v: %v", obd.MonitorName(mid), m.Module, err))
			}
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
	messages, err := r.ask("on-board tests", obd.Test(0))
	if err != nil {
		return err
	}
	var have obd.Support
	for _, m := range messages {
		if err := have.Add(r.caps.Protocol, m); err != nil {
			r.intake.Unread = append(r.intake.Unread, fmt.Sprintf("on-board tests of module %v: %v", m.Module, err))
		}
	}
	for tid := range have.All() {
		messages, err := r.ask(fmt.Sprintf("on-board test %02X", tid), obd.Test(tid))
		if err != nil {
			return err
		}
		for _, m := range messages {
			if result, err := obd.DecodeLegacyTest(m); err == nil {
				r.intake.Legacy = append(r.intake.Legacy, result)
			}
		}
	}
	return nil
}

// live reads every supported value once, as many at a time as the bus allows.
func (r *intakeReader) live() error {
	size := batch
	if !r.caps.Protocol.CAN() {
		size = 1
	}
	for pids := livePIDs(r.caps); len(pids) > 0; {
		n := min(size, len(pids))
		if d, _ := obd.DescribePID(pids[0]); !d.Batchable() {
			n = 1
		}
		answer, err := r.car.Do(r.ctx, obd.Live(pids[:n]...))
		var status *elm.Status
		switch {
		case err == nil:
			if r.intake.At.IsZero() {
				r.intake.At = answer.Received
			}
			for _, m := range answer.Messages {
				r.intake.Live, _ = obd.AppendLive(r.intake.Live, m)
			}
		case n > 1 && errors.As(err, &status) && status.Remedy == elm.RemedyAskForLess:
			size = n / 2
			continue
		default:
			if err := note(r.ctx, &r.intake.Unread, "live values", err); err != nil {
				return err
			}
		}
		pids = pids[n:]
	}
	return nil
}

// livePIDs are the supported PIDs that can be decoded; those that may be asked together first.
func livePIDs(caps *Capabilities) []byte {
	var together, alone []byte
	for _, pid := range frozenPIDs(caps) {
		if d, _ := obd.DescribePID(pid); d.Batchable() {
			together = append(together, pid)
		} else {
			alone = append(alone, pid)
		}
	}
	return append(together, alone...)
}

// ReadVIN reads the vehicle identification number, empty when the car does not tell; checkOK as for
// obd.ValidVIN.
func ReadVIN(ctx context.Context, car Asker, caps *Capabilities) (vin string, checkOK bool, err error) {
	r := intakeReader{ctx: ctx, car: car, caps: caps, intake: &obd.Intake{}}
	if !caps.HasInfo(obd.InfoVIN) {
		return "", false, nil
	}
	messages, err := r.ask("vehicle identification number", obd.Info(obd.InfoVIN))
	if err != nil {
		return "", false, err
	}
	for _, m := range caps.Modules {
		if mine := obd.ModuleMessages(messages, m.Address); len(mine) > 0 && r.intake.VIN == "" {
			_ = r.keepVIN(m.Address, mine) // a number that cannot be right is shown as it came
		}
	}
	return r.intake.VIN, r.intake.VINCheck, nil
}
