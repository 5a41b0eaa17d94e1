package vehicle

import (
	"context"
	"errors"
	"reflect"
	"slices"

	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/uds"
)

// readFull reads the codes of the modules that speak OBD on UDS: whole, with their status.
// It returns the modules that gave a list so; the others are to be asked in the words of SAE J1979.
func readFull(ctx context.Context, car Asker, caps *Capabilities, report *obd.CodeReport) (told []obd.Module, err error) {
	if !caps.speaksUDS() {
		return nil, nil
	}
	for _, list := range [...]struct {
		req    obd.Request
		unread obd.UnreadKind
		is     obd.Status // what a code of the list must be, for modules that tell all they have; 0: anything
		of     func(*obd.ModuleCodes) *[]obd.Code
	}{
		{uds.Stored(), obd.UnreadStored, obd.StatusConfirmed, func(m *obd.ModuleCodes) *[]obd.Code { return &m.Stored }},
		{uds.Pending(), obd.UnreadPending, obd.StatusPending, func(m *obd.ModuleCodes) *[]obd.Code { return &m.Pending }},
		{uds.Permanent(), obd.UnreadPermanent, 0, func(m *obd.ModuleCodes) *[]obd.Code { return &m.Permanent }},
	} {
		what := obd.Unread{What: list.unread}
		answer, err := askTwice(ctx, car, list.req)
		if err != nil {
			if caps.older() && len(told) == 0 {
				if err := optional(ctx, err); err != nil {
					return told, err
				}
				continue // those modules may tell it in the other way
			}
			if err := note(ctx, &report.Unread, what, err); err != nil {
				return told, err
			}
			continue
		}
		for _, m := range answer.Messages {
			codes, err := uds.DecodeCodes(m)
			if err != nil {
				report.Unread = append(report.Unread, obd.Unread{What: list.unread, Module: &m.Module, Why: err.Error()})
			}
			if !slices.Contains(told, m.Module) {
				told = append(told, m.Module)
			}
			kept := moduleCodes(report, m.Module)
			kept.UDS = true
			for _, c := range codes {
				if list.is == 0 || c.Status.Has(list.is) {
					keepFull(kept, list.of(kept), c)
				}
			}
		}
		report.Unread = append(report.Unread, unansweredBy(list.unread, answer.Negatives, answer.Messages)...)
	}
	return told, nil
}

// keepFull adds a code to a list, once however many types of failure it has, and once whole for each type.
func keepFull(m *obd.ModuleCodes, list *[]obd.Code, c obd.CodeStatus) {
	if !slices.Contains(*list, c.Code) {
		*list = append(*list, c.Code)
	}
	same := func(x obd.CodeStatus) bool { return x.Code == c.Code && x.Failure == c.Failure }
	i := slices.IndexFunc(m.Status, same)
	if i < 0 {
		m.Status = append(m.Status, c)
		return
	}
	if c.Severity == 0 { // a list of permanent codes tells none
		c.Severity = m.Status[i].Severity
	}
	m.Status[i] = c
}

// unansweredBy are the refusals of modules beside the answers of others.
func unansweredBy(what obd.UnreadKind, negatives []obd.NegativeResponse, messages []obd.Message) (out []obd.Unread) {
	for _, n := range negatives {
		if !n.Pending() && !slices.ContainsFunc(messages, func(m obd.Message) bool { return m.Module == n.Module }) {
			out = append(out, obd.Unread{What: what, Module: &n.Module, Why: n.Error()})
		}
	}
	return out
}

// mostFrames keeps a car with a hundred codes from holding the intake up: the standard wants frames of five codes.
const mostFrames = 16

// readFullFrames reads the freeze frames of the stored and pending codes: the first occurrence and the latest.
func readFullFrames(ctx context.Context, car Asker, report *obd.CodeReport) error {
	var codes []obd.CodeStatus
	for i := range report.Modules {
		for _, c := range report.Modules[i].Status {
			known := func(x obd.CodeStatus) bool { return x.Code == c.Code && x.Failure == c.Failure }
			if c.Status&(obd.StatusConfirmed|obd.StatusPending) != 0 && !slices.ContainsFunc(codes, known) {
				codes = append(codes, c)
			}
		}
	}
	for _, c := range codes[:min(len(codes), mostFrames)] {
		for _, record := range [...]byte{uds.FirstFrame, uds.LatestFrame} {
			answer, err := car.Do(ctx, uds.Frame(c, record))
			if err := noteSpoiled(ctx, &report.Unread, obd.Unread{What: obd.UnreadFrame}, err); err != nil {
				return err
			}
			for _, m := range answer.Messages {
				keepFrame(report, m)
			}
		}
	}
	return nil
}

// noteSpoiled notes what was answered and did not come whole; what is not answered or refused is not there.
func noteSpoiled(ctx context.Context, unread *[]obd.Unread, what obd.Unread, err error) error {
	var refused obd.NegativeResponse
	if err == nil || errors.Is(err, elm.NoData) || errors.As(err, &refused) {
		return nil
	}
	return note(ctx, unread, what, err)
}

// keepFrame adds a freeze frame; the latest that is also the first is left out.
func keepFrame(report *obd.CodeReport, m obd.Message) {
	_, frame, kept, err := uds.DecodeFrame(m)
	if err != nil {
		report.Unread = append(report.Unread, obd.Unread{What: obd.UnreadFrame, Module: &m.Module, Why: err.Error()})
	}
	if !kept || slices.ContainsFunc(report.Frames, func(f obd.FreezeFrame) bool {
		return f.Module == frame.Module && f.Code == frame.Code && reflect.DeepEqual(f.Readings, frame.Readings)
	}) {
		return
	}
	report.Frames = append(report.Frames, frame)
}

// checks reads what hangs on the misfire codes of a car of SAE J1979-2: test results, how far each check has come, and
// how often it was completed; then the readiness groups.
func (r *intakeReader) checks() error {
	for i := range r.caps.Modules {
		if m := &r.caps.Modules[i]; m.UDS {
			r.module(m.Address).UDS = true
		}
	}
	for _, monitor := range r.caps.Monitors {
		if !monitor.ByCode {
			continue
		}
		what := obd.Unread{What: obd.UnreadTest, ID: monitor.MID}
		from := []obd.Module{monitor.Module}
		err := r.read(wanted{what, uds.Counts(monitor.Cylinder), from, func(m obd.Module, messages []obd.Message) {
			code, results, err := uds.DecodeCounts(messages[0])
			r.intake.Tests = append(r.intake.Tests, results...)
			r.keepCheck(m, obd.CodeCheck{CodeStatus: code})
			r.unread(what, m, err)
		}})
		if err != nil {
			return err
		}
		if err := r.inUse(monitor.Cylinder); err != nil {
			return err
		}
	}
	return r.readiness()
}

// inUse reads how often a misfire check was completed, which a module may do without.
func (r *intakeReader) inUse(cylinder int) error {
	answer, err := r.car.Do(r.ctx, uds.InUse(uds.Misfire(cylinder)))
	if err := optional(r.ctx, err); err != nil {
		return err
	}
	for _, m := range answer.Messages {
		if code, ratio, kept, err := uds.DecodeInUse(m); err == nil && kept {
			r.keepCheck(m.Module, obd.CodeCheck{CodeStatus: code, Ratio: &ratio})
		}
	}
	return nil
}

// readiness reads the readiness groups. Their numbers are not known, so they are asked for one after the other, as long as
// any is answered.
func (r *intakeReader) readiness() error {
	if !r.caps.speaksUDS() {
		return nil
	}
	const mostGroups, silentToEnd = 0x20, 3
	for group, silent := byte(0), 0; group < mostGroups && silent < silentToEnd; group++ {
		answer, err := r.car.Do(r.ctx, uds.Readiness(group))
		if err := optional(r.ctx, err); err != nil {
			return err
		}
		silent++
		for _, m := range answer.Messages {
			codes, err := uds.DecodeCodes(m)
			r.unread(obd.Unread{What: obd.UnreadMonitors}, m.Module, err)
			for _, c := range codes {
				r.keepCheck(m.Module, obd.CodeCheck{CodeStatus: c, Group: group})
			}
			silent = 0
		}
	}
	return nil
}

// keepCheck adds what is known of a check to what is there of it already.
func (r *intakeReader) keepCheck(module obd.Module, c obd.CodeCheck) {
	checks := &r.module(module).Checks
	i := slices.IndexFunc(*checks, func(x obd.CodeCheck) bool { return x.Code == c.Code && x.Failure == c.Failure })
	if i < 0 {
		*checks = append(*checks, c)
		return
	}
	old := &(*checks)[i]
	old.Status = c.Status
	if c.Ratio != nil {
		old.Ratio = c.Ratio
	}
	if c.Group != 0 {
		old.Group = c.Group
	}
}
