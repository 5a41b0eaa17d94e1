package vehicle

import (
	"context"
	"errors"
	"slices"

	"stumble/obd"
	"stumble/obd/elm"
)

// ReadCodes reads stored, pending and permanent codes of every module, and the freeze frame of each module
// that has one. A car without a list is noted in the report, not an error.
func ReadCodes(ctx context.Context, car Asker, caps *Capabilities) (*obd.CodeReport, error) {
	report, told, err := codeLists(ctx, car, caps)
	if err != nil {
		return nil, err
	}
	if err := readFullFrames(ctx, car, report); err != nil || !caps.older() {
		return report, err
	}
	return report, readFrames(ctx, car, caps, report, len(told) == 0)
}

// ReadCodeLists reads what ReadCodes does but for the freeze frames, which take many requests.
func ReadCodeLists(ctx context.Context, car Asker, caps *Capabilities) (*obd.CodeReport, error) {
	report, _, err := codeLists(ctx, car, caps)
	return report, err
}

// codeLists reads the lists, and returns the modules that told theirs in the words of SAE J1979-2.
func codeLists(ctx context.Context, car Asker, caps *Capabilities) (report *obd.CodeReport, told []obd.Module, err error) {
	report = &obd.CodeReport{}
	if told, err = readFull(ctx, car, caps, report); err != nil || !caps.older() {
		return report, told, err
	}
	for _, list := range [...]struct {
		service obd.Service
		unread  obd.UnreadKind
		of      func(*obd.ModuleCodes) *[]obd.Code
	}{
		{obd.StoredCodes, obd.UnreadStored, func(m *obd.ModuleCodes) *[]obd.Code { return &m.Stored }},
		{obd.PendingCodes, obd.UnreadPending, func(m *obd.ModuleCodes) *[]obd.Code { return &m.Pending }},
		{obd.PermanentCodes, obd.UnreadPermanent, func(m *obd.ModuleCodes) *[]obd.Code { return &m.Permanent }},
	} {
		if list.service == obd.PermanentCodes && !car.Protocol().CAN() {
			continue // there are none before CAN
		}
		answer, err := car.Do(ctx, obd.NewRequest(list.service))
		if err != nil {
			if err := note(ctx, &report.Unread, obd.Unread{What: list.unread}, err); err != nil {
				return nil, nil, err
			}
			continue
		}
		for _, m := range answer.Messages {
			if slices.Contains(told, m.Module) {
				continue // it told them whole
			}
			codes, err := obd.DecodeCodes(car.Protocol(), m)
			if err != nil {
				report.Unread = append(report.Unread, obd.Unread{What: list.unread, Module: &m.Module, Why: err.Error()})
			}
			kept := list.of(moduleCodes(report, m.Module))
			*kept = append(*kept, codes...)
		}
	}
	return report, told, nil
}

// note keeps why something could not be read and lets the reading go on, unless nothing more can be read.
func note(ctx context.Context, unread *[]obd.Unread, what obd.Unread, err error) error {
	if err := optional(ctx, err); err != nil {
		return err
	}
	var status *elm.Status
	var refused obd.NegativeResponse
	switch { // without the request, which says nothing to a technician
	case errors.As(err, &status):
		err = status
	case errors.As(err, &refused):
		err = refused
	}
	what.Why = err.Error()
	*unread = append(*unread, what)
	return nil
}

// moduleCodes finds a module's entry, or adds it in order of address.
func moduleCodes(r *obd.CodeReport, m obd.Module) *obd.ModuleCodes {
	i, found := slices.BinarySearchFunc(r.Modules, m, func(c obd.ModuleCodes, m obd.Module) int { return int(c.Module.ID) - int(m.ID) })
	if !found {
		r.Modules = slices.Insert(r.Modules, i, obd.ModuleCodes{Module: m})
	}
	return &r.Modules[i]
}

// frameZero is the one freeze frame that the standard requires.
const frameZero = 0

// readFrames reads the freeze frame of each module that says it holds one: first whose code it is, then
// every PID that a frame may hold and the module supports. expected tells that a car without an answer is noted.
func readFrames(ctx context.Context, car Asker, caps *Capabilities, report *obd.CodeReport, expected bool) error {
	answer, err := car.Do(ctx, obd.Frozen(obd.PIDFreezeCode, frameZero))
	if err != nil && !expected {
		return optional(ctx, err)
	}
	if err != nil {
		return note(ctx, &report.Unread, obd.Unread{What: obd.UnreadFrame}, err)
	}
	for _, m := range answer.Messages {
		code, frame, err := obd.DecodeFrozenCode(m)
		if err == nil && code != 0 && !slices.ContainsFunc(report.Frames, func(f obd.FreezeFrame) bool { return f.Module == m.Module }) {
			report.Frames = append(report.Frames, obd.FreezeFrame{Module: m.Module, Frame: frame, Code: code})
		}
	}
	if len(report.Frames) == 0 {
		return nil
	}
	pids, err := frozenPIDs(ctx, car, caps)
	if err != nil {
		return err
	}
	for _, pid := range pids {
		answer, err := car.Do(ctx, obd.Frozen(pid, frameZero))
		if err != nil {
			if err := optional(ctx, err); err != nil {
				return err
			}
			continue // a frame need not hold every PID
		}
		for _, m := range answer.Messages {
			f := frameOf(report, m.Module)
			if f == nil {
				continue
			}
			if f.Readings, err = obd.AppendFrozen(f.Readings, m); err != nil {
				report.Unread = append(report.Unread, obd.Unread{What: obd.UnreadFrame, Module: &m.Module, Why: err.Error()})
			}
		}
	}
	return nil
}

// frozenPIDs are the PIDs to ask of a freeze frame: the values that the car says its frames hold or, when it does
// not say, all that it supports.
func frozenPIDs(ctx context.Context, car Asker, caps *Capabilities) ([]byte, error) {
	held, err := frozenSupport(ctx, car)
	if err != nil {
		return nil, err
	}
	if held == (obd.Support{}) {
		return values(caps), nil
	}
	return decodable(nil, held), nil
}

// frozenSupport asks for the bitmaps of service 02, which are those of service 01 with a frame number.
func frozenSupport(ctx context.Context, car Asker) (held obd.Support, err error) {
	for base, more := byte(0), true; more; {
		answer, err := car.Do(ctx, obd.Frozen(base, frameZero))
		if err != nil {
			return held, optional(ctx, err)
		}
		more = false
		for _, m := range answer.Messages {
			if bits, ok := obd.PIDData(m, base); ok {
				live := obd.Message{Module: m.Module, Data: append([]byte{obd.LiveData.Response(), base}, bits...)}
				_ = held.Add(car.Protocol(), live) // well formed: it was made just now
			}
		}
		base, more = held.Next(base)
	}
	return held, nil
}

// values are the supported PIDs that stand for plain measured values, module by module.
func values(caps *Capabilities) (out []byte) {
	for _, m := range caps.Modules {
		out = decodable(out, m.PIDs)
	}
	return out
}

// decodable appends the PIDs of a set that can be decoded and are not there yet.
func decodable(dst []byte, set obd.Support) []byte {
	for pid := range set.All() {
		d, known := obd.DescribePID(pid)
		if known && len(d.Parts) > 0 && pid != obd.PIDStatus && pid != obd.PIDFreezeCode && !slices.Contains(dst, pid) {
			dst = append(dst, pid)
		}
	}
	return dst
}

func frameOf(r *obd.CodeReport, m obd.Module) *obd.FreezeFrame {
	for i := range r.Frames {
		if r.Frames[i].Module == m {
			return &r.Frames[i]
		}
	}
	return nil
}
