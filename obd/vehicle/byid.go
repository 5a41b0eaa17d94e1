package vehicle

import (
	"context"
	"errors"
	"slices"

	"stumble/obd"
	"stumble/obd/elm"
	"stumble/obd/uds"
)

// A module of SAE J1979-2 is asked for the values of services 01, 06 and 09 by identifiers (service 22). The rest of
// this package goes on asking in the words of SAE J1979: a speaker stands in front of the dialogue and puts each
// request, and what comes back, into the language of those who have what is asked for.

// speaker is a car some of whose modules are asked by identifiers.
type speaker struct {
	Asker
	caps *Capabilities
	all  bool // of all modules that have it; else of those of the engine's language, where they have it
}

// speaking is how a car is asked whose capabilities are known. all tells that every module's word is wanted.
func (c *Capabilities) speaking(car Asker, all bool) Asker {
	if s, is := car.(*speaker); is {
		car = s.Asker
	}
	switch byID := slices.ContainsFunc(c.Modules, func(m Module) bool { return m.ByID }); {
	case len(c.Modules) == 0 && silentToClassic(car): // it is asked who it is before anything else
		return strangersToService01{car, nil}
	case !byID:
		return car
	}
	return &speaker{Asker: car, caps: c, all: all}
}

// Do asks for something in the words of SAE J1979 or, of codes, in those of SAE J1979-2.
func (s *speaker) Do(ctx context.Context, req obd.Request) (elm.Answer, error) {
	if _, ok := uds.FromClassic(obd.NewRequest(req.Service(), 0)); !ok || req.Len() < 2 {
		return s.Asker.Do(ctx, req)
	}
	older, byID := s.part(req)
	if len(byID) == 0 {
		return s.Asker.Do(ctx, req)
	}
	var all gathered
	if len(older) > 0 {
		all.take(s.Asker.Do(ctx, obd.NewRequest(req.Service(), older...)))
	}
	for _, ids := range chunks(req.Service(), byID) {
		all.take(askByID(ctx, s.Asker, obd.NewRequest(req.Service(), ids...)))
	}
	return all.result()
}

// DoOf is Do for one module. How many lines an answer has that was asked for in the other language is learnt.
func (s *speaker) DoOf(ctx context.Context, req obd.Request, m obd.Module, lines int) (elm.Answer, error) {
	aimer, can := s.Asker.(Aimer)
	if !can {
		return s.Do(ctx, req)
	}
	_, has := uds.FromClassic(obd.NewRequest(req.Service(), 0))
	if i := slices.IndexFunc(s.caps.Modules, func(x Module) bool { return x.Address == m }); !has || i < 0 || !s.caps.Modules[i].ByID {
		return aimer.DoOf(ctx, req, m, lines)
	}
	var all gathered
	for _, ids := range chunks(req.Service(), req.Params()) {
		all.take(askByID(ctx, aimed{s.Asker, aimer, m}, obd.NewRequest(req.Service(), ids...)))
	}
	return all.result()
}

// aimed asks one module whatever it is asked.
type aimed struct {
	Asker
	aimer Aimer
	of    obd.Module
}

func (a aimed) Do(ctx context.Context, req obd.Request) (elm.Answer, error) {
	return a.aimer.DoOf(ctx, req, a.of, 0)
}

// part parts the ids of a request by the language they are asked for in.
func (s *speaker) part(req obd.Request) (older, byID []byte) {
	first := s.caps.engineByID()
	for _, id := range req.Params() {
		o, b := s.caps.told(req.Service(), id)
		if !s.all && o && b {
			o, b = !first, first
		}
		if !o && !b { // nobody lists it: it is asked for all the same
			o, b = !first, first
		}
		if o {
			older = append(older, id)
		}
		if b {
			byID = append(byID, id)
		}
	}
	return older, byID
}

// told is in which languages an id is told.
func (c *Capabilities) told(s obd.Service, id byte) (older, byID bool) {
	for i := range c.Modules {
		m := &c.Modules[i]
		if id%0x20 == 0 || m.support(s).Has(id) {
			older, byID = older || !m.ByID, byID || m.ByID
		}
	}
	return older, byID
}

// engineByID reports whether the module that tells most live data, the engine's as a rule, is asked by identifiers.
func (c *Capabilities) engineByID() bool {
	most, byID := -1, false
	for i := range c.Modules {
		n := 0
		for range c.Modules[i].PIDs.All() {
			n++
		}
		if n > most {
			most, byID = n, c.Modules[i].ByID
		}
	}
	return byID
}

// chunks parts ids into requests that fit one frame; the length of a monitor's answer is not known, so those are asked
// one by one.
func chunks(s obd.Service, ids []byte) (out [][]byte) {
	size := uds.MostIdentifiers
	if s == obd.TestResults {
		size = 1
	}
	for part := range slices.Chunk(ids, size) {
		out = append(out, part)
	}
	return out
}

// askByID puts a request of SAE J1979 as one of service 22, and its answers back.
func askByID(ctx context.Context, car Asker, req obd.Request) (elm.Answer, error) {
	asked, ok := uds.FromClassic(req)
	if !ok {
		return elm.Answer{}, elm.NoData
	}
	answer, err := car.Do(ctx, asked)
	messages := make([]obd.Message, 0, len(answer.Messages))
	for _, m := range answer.Messages {
		data, e := uds.AppendClassic(nil, asked, m)
		if e != nil {
			answer.Faults = errors.Join(answer.Faults, e)
			continue
		}
		messages = append(messages, obd.Message{Module: m.Module, Data: data})
	}
	answer.Messages = messages
	if err == nil && len(messages) == 0 {
		return answer, answer.Faults
	}
	return answer, err
}

// gathered is what several exchanges told.
type gathered struct {
	answer elm.Answer
	err    error // the first
}

// take adds an answer. Live data of one module is put into one message, as if it had been asked for at once.
func (g *gathered) take(a elm.Answer, err error) {
	if g.answer.Sent.IsZero() {
		g.answer.Sent = a.Sent
	}
	if !a.Received.IsZero() {
		g.answer.Received = a.Received
	}
	for _, m := range a.Messages {
		i := slices.IndexFunc(g.answer.Messages, func(x obd.Message) bool { return x.Module == m.Module })
		if i >= 0 && len(m.Data) > 1 && m.Data[0] == obd.LiveData.Response() {
			g.answer.Messages[i].Data = append(g.answer.Messages[i].Data, m.Data[1:]...)
			continue
		}
		g.answer.Messages = append(g.answer.Messages, obd.Message{Module: m.Module, Data: slices.Clone(m.Data)})
	}
	g.answer.Negatives = append(g.answer.Negatives, a.Negatives...)
	g.answer.Faults = errors.Join(g.answer.Faults, a.Faults)
	if g.err == nil {
		g.err = err
	}
}

func (g *gathered) result() (elm.Answer, error) {
	if len(g.answer.Messages) > 0 {
		return g.answer, nil
	}
	return g.answer, g.err
}

// silentToClassic reports that the car is known to answer no service of SAE J1979.
func silentToClassic(car Asker) bool {
	c, tells := car.(interface{ ByID() bool })
	return tells && c.ByID()
}

// identified asks who speaks OBD on UDS, and what those modules have that told nothing in the words of SAE J1979.
func (c *Capabilities) identified(ctx context.Context, car Asker) error {
	if !c.Protocol.CAN() {
		return nil
	}
	answer, err := car.Do(ctx, uds.Identify())
	if err := optional(ctx, err); err != nil {
		return err
	}
	for _, m := range answer.Messages {
		if uds.Speaks(m) {
			c.module(m.Module).UDS = true
		}
	}
	unheard := func(m Module) bool { return m.PIDs == obd.Support{} }
	if len(c.Modules) > 0 && !slices.ContainsFunc(c.Modules, unheard) {
		return nil
	}
	var older []obd.Module
	for _, m := range c.Modules {
		if !unheard(m) {
			older = append(older, m.Address)
		}
	}
	other := strangersToService01{car, older}
	for _, s := range [...]obd.Service{obd.LiveData, obd.VehicleInfo} {
		if err := optional(ctx, c.bitmaps(ctx, other, s)); err != nil {
			return err
		}
	}
	for i := range c.Modules {
		if m := &c.Modules[i]; !slices.Contains(older, m.Address) && m.PIDs != (obd.Support{}) {
			m.UDS, m.ByID = true, true
		}
	}
	return nil
}

// strangersToService01 asks by identifiers, and passes over the modules that answered service 01.
type strangersToService01 struct {
	Asker
	older []obd.Module
}

func (s strangersToService01) Do(ctx context.Context, req obd.Request) (elm.Answer, error) {
	var all gathered
	for _, ids := range chunks(req.Service(), req.Params()) {
		answer, err := askByID(ctx, s.Asker, obd.NewRequest(req.Service(), ids...))
		answer.Messages = slices.DeleteFunc(answer.Messages, func(m obd.Message) bool { return slices.Contains(s.older, m.Module) })
		if err == nil && len(answer.Messages) == 0 {
			err = elm.NoData
		}
		all.take(answer, err)
	}
	return all.result()
}

// recordMonitors asks for the counts that hang on the cylinders' misfire codes, one cylinder after the other: the code of
// several cylinders has none.
func (c *Capabilities) recordMonitors(ctx context.Context, car Asker) error {
	if !c.speaksUDS() {
		return nil
	}
	const silentToEnd = 3
	for cylinder, silent := 1, 0; cylinder <= uds.MostCylinders && silent < silentToEnd; cylinder++ {
		answer, err := askTwice(ctx, car, uds.Counts(cylinder))
		what := obd.Unread{What: obd.UnreadTests}
		if err := noteSpoiled(ctx, &c.Unread, what, err); err != nil {
			return err
		}
		silent++
		for _, m := range answer.Messages {
			readings, _ := uds.AppendCounts(nil, m)
			if len(readings) == 0 {
				continue
			}
			silent = 0
			c.Monitors = append(c.Monitors, Monitor{Module: m.Module, MID: obd.MIDMisfire + byte(cylinder), Cylinder: cylinder,
				Counts: true, ByCode: true})
		}
	}
	return nil
}

// speaksUDS reports whether any module says that it speaks OBD on UDS.
func (c *Capabilities) speaksUDS() bool {
	return slices.ContainsFunc(c.Modules, func(m Module) bool { return m.UDS })
}

// older reports whether any module is asked in the words of SAE J1979.
func (c *Capabilities) older() bool {
	return len(c.Modules) == 0 || slices.ContainsFunc(c.Modules, func(m Module) bool { return !m.ByID })
}
