package report

import "stumble/obd"

// addReadiness shows how far the car's own checks have come, a table for each module that has any.
func (d *Document) addReadiness(modules []obd.ModuleIntake) {
	var told []*obd.ModuleIntake
	var silent []string
	for i := range modules {
		if m := &modules[i]; len(fitted(m)) > 0 {
			told = append(told, m)
		} else if m.Monitors == nil {
			silent = append(silent, m.Module.String())
		}
	}
	d.section(d.tell("head-readiness"))
	if len(told) == 0 {
		d.say(d.tell("say-no-readiness"))
		return
	}
	for _, m := range told {
		if len(modules) > 1 {
			d.say(d.moduleLine(m))
		}
		d.addMonitors(m)
	}
	if len(silent) > 0 {
		d.say(d.sentence(d.byModules(d.tell("word-not-told"), silent)))
	}
	if !checked(modules) {
		d.say(d.tell("say-misfire-monitor"))
		return
	}
	d.addChecks(modules)
}

func (d *Document) addMonitors(m *obd.ModuleIntake) {
	t := &table{columns: []column{{title: d.tell("col-monitor"), head: true}, {title: d.tell("col-since-clear")}}}
	if m.ThisCycle != nil {
		t.columns = append(t.columns, column{title: d.tell("col-this-cycle")})
	}
	open, all := 0, 0
	for _, monitor := range fitted(m) {
		since := state(m.Monitors, monitor)
		row := []string{monitor.String(), d.sinceWord(since), d.cycleWord(state(m.ThisCycle, monitor))}
		t.add(row[:len(t.columns)]...)
		if since != nil && since.Supported && monitor > obd.MonitorComponents {
			all++
			if !since.Complete {
				open++
			}
		}
	}
	d.show(t)
	if open > 0 && 2*open >= all {
		d.say(d.tell("say-lately-cleared"))
	}
}

// fitted are the monitors that a module has, as far as either status tells.
func fitted(m *obd.ModuleIntake) []obd.Monitor {
	var out []obd.Monitor
	for monitor := obd.MonitorMisfire; monitor <= obd.MonitorParticulate; monitor++ {
		since, cycle := state(m.Monitors, monitor), state(m.ThisCycle, monitor)
		if since != nil && since.Supported || since == nil && cycle != nil && cycle.Supported {
			out = append(out, monitor)
		}
	}
	return out
}

func state(m *obd.Monitors, monitor obd.Monitor) *obd.MonitorState {
	if m == nil {
		return nil
	}
	s, ok := m.State(monitor)
	if !ok {
		return nil
	}
	return &s
}

func (w *words) sinceWord(s *obd.MonitorState) string {
	switch {
	case s == nil:
		return w.tell("word-not-told")
	case s.Complete:
		return w.tell("word-complete")
	}
	return w.tell("word-incomplete")
}

func (w *words) cycleWord(s *obd.MonitorState) string {
	switch {
	case s == nil:
		return w.tell("word-not-told")
	case !s.Supported:
		return w.tell("word-resting")
	case s.Complete:
		return w.tell("word-complete")
	}
	return w.tell("word-incomplete")
}
