package sim

import (
	"fmt"
	"slices"
	"strconv"
	"time"

	"stumble/obd"
)

// command does one AT command, given without the AT.
func (a *Adapter) command(at time.Time, cmd string) {
	switch {
	case a.cfg.Quirks.refuses(cmd):
		a.reply(at, "?")
	case a.cfg.Quirks.pretends(cmd):
		a.reply(at, "OK")
	case a.action(at, cmd):
	case a.answered(at, cmd):
	case a.flag(cmd), a.change(cmd), a.argument(cmd), slices.Contains(accepted[:], cmd):
		a.reply(at, "OK")
	default:
		a.reply(at, "?")
	}
}

// accepted are commands that change nothing a car of SAE J1979 could notice.
var accepted = [...]string{
	"BI", "CEA", "CSM0", "CSM1", "CTM1", "CTM5", "IB10", "IB12", "IB15", "IB48", "IB96", "IFR0", "IFR1", "IFR2",
	"IFRH", "IFRS", "JE", "JHF0", "JHF1", "JS", "JTM1", "JTM5", "KW0", "KW1", "SS", "V0", "V1",
}

// action does the commands that do more than answer one line at once.
func (a *Adapter) action(at time.Time, cmd string) bool {
	if a.cfg.Quirks.NoReset && (cmd == "Z" || cmd == "WS") {
		return true
	}
	switch cmd {
	case "Z":
		a.restart(at.Add(resetting))
	case "WS":
		a.restart(at.Add(processing))
	case "LP":
		a.reply(at, "OK")
		a.asleep = true
	case "MA":
		a.monitor, a.busBusy = true, true
	case "PPS":
		a.printParameters(at)
	case "TPA0", "TP0A":
		a.hung = a.cfg.Quirks.HangsOnSearch
		return a.hung
	default:
		return false
	}
	return true
}

// answered does the commands that ask for something.
func (a *Adapter) answered(at time.Time, cmd string) bool {
	switch cmd {
	case "I":
		a.reply(at, a.cfg.Version)
	case "@1":
		a.reply(at, "OBDII to RS232 Interpreter")
	case "RV":
		a.reply(at, strconv.FormatFloat(a.cfg.Bus.Voltage(at), 'f', 1, 64)+"V")
	case "IGN":
		if a.cfg.Bus.Ignition(at) {
			a.reply(at, "ON")
		} else {
			a.reply(at, "OFF")
		}
	case "DP":
		a.reply(at, a.describe())
	case "DPN":
		a.reply(at, a.number())
	default:
		return false
	}
	return true
}

// flag does the commands that end in 0 or 1 for off and on.
func (a *Adapter) flag(cmd string) bool {
	if cmd == "" {
		return false
	}
	name, digit := cmd[:len(cmd)-1], cmd[len(cmd)-1]
	if digit != '0' && digit != '1' {
		return false
	}
	on := digit == '1'
	switch name {
	case "E":
		a.echo = on || a.cfg.Quirks.EchoSticks
	case "L":
		a.feeds = on
	case "S":
		a.spaces = on
	case "H":
		a.headers = on
	case "D":
		a.dlc = on
	case "M":
		a.memory = on
	case "R":
		a.responses = on
	case "CAF":
		a.formatting = on
	case "CFC":
		a.flowControl = on
	case "AT":
		a.adaptive = digit - '0'
	default:
		return false
	}
	return true
}

// change does the other commands that change something and have no argument.
func (a *Adapter) change(cmd string) bool {
	switch cmd {
	case "AL":
		a.long = true
	case "NL":
		a.long = false
	case "AT2":
		a.adaptive = 2
	case "AR", "CRA":
		a.filter, a.mask = 0, 0
	case "D":
		a.settings = a.defaults()
		a.bus.auto, a.bus.protocol, a.bus.connected = a.bus.savedAuto, a.bus.saved, false
	case "PC":
		a.bus.connected = false
	case "FE":
		a.noCAN = false
	default:
		return false
	}
	return true
}

// describe names the protocol as DP does.
func (a *Adapter) describe() string {
	switch name := protocolNames[a.bus.protocol]; {
	case a.bus.protocol == obd.ProtocolUnknown || !a.bus.auto:
		return name
	default:
		return "AUTO, " + name
	}
}

// number gives the protocol as DPN does.
func (a *Adapter) number() string {
	switch {
	case a.cfg.Quirks.NoProtocol:
		return "0"
	case a.bus.auto:
		return fmt.Sprintf("A%X", byte(a.bus.protocol))
	}
	return fmt.Sprintf("%X", byte(a.bus.protocol))
}

// protocolNames are the adapter's own names of its protocols, by number.
var protocolNames = [...]string{
	"AUTO", "SAE J1850 PWM", "SAE J1850 VPW", "ISO 9141-2", "ISO 14230-4 (KWP 5BAUD)", "ISO 14230-4 (KWP FAST)",
	"ISO 15765-4 (CAN 11/500)", "ISO 15765-4 (CAN 29/500)", "ISO 15765-4 (CAN 11/250)", "ISO 15765-4 (CAN 29/250)",
	"SAE J1939 (CAN 29/250)", "USER1 (CAN 11/125)", "USER2 (CAN 11/50)",
}

// printParameters prints the programmable parameters, all at their factory value and off, twelve lines of
// four (layout from memory).
func (a *Adapter) printParameters(at time.Time) {
	for i := range 12 {
		line := ""
		for j := range 4 {
			line += fmt.Sprintf("%02X:FF F  ", 4*i+j)
		}
		a.print(at, line[:len(line)-2]+"\r")
	}
	a.prompt(at)
}
