package say

import (
	"stumble/obd"
	"stumble/views/say/catalogue"
)

// Unread is what could not be read of a car and why, a line.
func (w Words) Unread(u *obd.Unread) string {
	switch {
	case u.Line != "":
		return u.Line
	case u.Module != nil:
		return w.tell("unread-of", w.unread(u), u.Module, u.Why)
	}
	return w.tell("unread-line", w.unread(u), u.Why)
}

// unread names what could not be read.
func (w Words) unread(u *obd.Unread) string {
	switch u.What {
	case obd.UnreadTest:
		return obd.MonitorName(u.ID)
	case obd.UnreadLegacyTest:
		return w.tell("unread-legacy", hex(u.ID))
	case obd.UnreadPID:
		pid, _ := obd.DescribePID(u.ID)
		return pid.Name
	}
	keys := map[obd.UnreadKind]catalogue.Key{
		obd.UnreadStored: "unread-stored", obd.UnreadPending: "unread-pending", obd.UnreadPermanent: "unread-permanent",
		obd.UnreadFrame: "unread-frame", obd.UnreadLists: "unread-lists", obd.UnreadVoltage: "unread-voltage", obd.UnreadVIN: "unread-vin",
		obd.UnreadNames: "unread-names", obd.UnreadCalibrations: "unread-calibrations", obd.UnreadCVNs: "unread-cvns",
		obd.UnreadMonitors: "unread-monitors", obd.UnreadTests: "unread-tests", obd.UnreadLive: "unread-live",
	}
	return w.tell(keys[u.What])
}

func hex(b byte) string {
	const digits = "0123456789ABCDEF"
	return string([]byte{digits[b>>4], digits[b&15]})
}
