package uds

import "stumble/obd"

const (
	codeBytes   = 4 // three of the code, one of its status
	severeBytes = 5 // the same behind a severity
)

// DecodeCodes reads the codes of an answer to Stored, Pending, Permanent or Readiness: each with its status. Zero
// entries are fillers and left out. Whole codes before a fault are returned with the error.
//
// Layouts (ISO 14229-1 by three public descriptions): 59 42 33 status-mask severity-mask format and five bytes a code;
// 59 55 33 status-mask format and four, by one of them five; 59 56 33 status-mask format group and four.
func DecodeCodes(m obd.Message) ([]obd.CodeStatus, error) {
	if err := expect(m, obd.CodeData, 5); err != nil {
		return nil, err
	}
	head, size := 0, codeBytes
	switch m.Data[1] {
	case byMask:
		head, size = 6, severeBytes
	case permanent:
		head = 5
		if n := len(m.Data) - head; n%codeBytes != 0 && n%severeBytes == 0 {
			size = severeBytes
		}
	case ofReadiness:
		head = 6
	default:
		return nil, malformed(m, "lists no codes")
	}
	if len(m.Data) < head {
		return nil, malformed(m, "has %d bytes, %d are the least for a list of codes", len(m.Data), head)
	}
	if err := checkList(m, m.Data[formatAt(m.Data[1])]); err != nil {
		return nil, err
	}
	return listed(m, m.Data[head:], size)
}

// formatAt is where the format byte of a list stands.
func formatAt(subfunction byte) int {
	if subfunction == byMask {
		return 5
	}
	return 4
}

// checkList refuses codes of another group, or written in a way that is not that of SAE J2012-DA.
func checkList(m obd.Message, format byte) error {
	const twoBytes, threeBytes = 0x00, 0x04 // both put letter and digits into the first two bytes
	switch {
	case m.Data[2] != emissions:
		return malformed(m, "is of functional group %02X, not of emissions", m.Data[2])
	case format != threeBytes && format != twoBytes:
		return malformed(m, "writes its codes in format %02X, which is not that of SAE J2012", format)
	}
	return nil
}

func listed(m obd.Message, rest []byte, size int) (out []obd.CodeStatus, err error) {
	for ; len(rest) >= size; rest = rest[size:] {
		c := codeStatus(rest[size-codeBytes:])
		if size == severeBytes {
			c.Severity = rest[0]
		}
		if c.Code != 0 {
			out = append(out, c)
		}
	}
	if len(rest) > 0 {
		err = malformed(m, "ends inside a code")
	}
	return out, err
}

// codeStatus reads three bytes of code and one of status.
func codeStatus(b []byte) obd.CodeStatus {
	return obd.CodeStatus{Code: obd.Code(word(b)), Failure: b[2], Status: obd.Status(b[3])}
}

// DecodeFrame reads a freeze frame, 59 04 code status record n and n times an identifier with its data. kept is false
// when the module holds no such frame. An identifier of unknown length ends what can be read; the readings before a
// fault are right and kept.
func DecodeFrame(m obd.Message) (c obd.CodeStatus, f obd.FreezeFrame, kept bool, err error) {
	if err := expect(m, obd.CodeData, 6, obd.CodeFrame); err != nil {
		return c, f, false, err
	}
	c = codeStatus(m.Data[2:])
	f = obd.FreezeFrame{Module: m.Module, Code: c.Code}
	if len(m.Data) < 8 {
		return c, f, false, nil
	}
	f.Frame = m.Data[6]
	rest, n := m.Data[8:], int(m.Data[7])
	for ; n > 0 && len(rest) > 0; n-- {
		if rest, err = appendFrozen(&f, m, rest); err != nil {
			return c, f, true, err
		}
	}
	switch {
	case n > 0:
		err = malformed(m, "holds %d values of %d", int(m.Data[7])-n, m.Data[7])
	case len(rest) > 0:
		err = malformed(m, "goes on behind its last value")
	}
	return c, f, true, err
}

// appendFrozen reads one identifier with its data.
func appendFrozen(f *obd.FreezeFrame, m obd.Message, rest []byte) ([]byte, error) {
	if len(rest) < 2 {
		return nil, malformed(m, "ends inside an identifier")
	}
	high, pid := rest[0], rest[1]
	d, known := obd.DescribePID(pid)
	if high != highLive || !known {
		return nil, malformed(m, "holds identifier %02X%02X, whose length is not known", high, pid)
	}
	if len(rest) < 2+d.Len {
		return nil, malformed(m, "has %d of the %d bytes of PID %02X", len(rest)-2, d.Len, pid)
	}
	old := append([]byte{obd.FreezeFrames.Response(), pid, f.Frame}, rest[2:2+d.Len]...)
	var err error
	f.Readings, err = obd.AppendFrozen(f.Readings, obd.Message{Module: m.Module, Data: old})
	return rest[2+d.Len:], err
}

// DecodeInUse reads record 91, 59 06 code status 91 completions conditions. kept is false when there is none.
func DecodeInUse(m obd.Message) (c obd.CodeStatus, r obd.InUse, kept bool, err error) {
	c, rest, kept, err := record(m, recordInUse)
	if err != nil || !kept {
		return c, r, kept, err
	}
	if len(rest) != 4 {
		return c, r, false, malformed(m, "has %d bytes of in-use counts, not 4", len(rest))
	}
	return c, obd.InUse{Completed: int(word(rest)), Met: int(word(rest[2:]))}, true, nil
}

// record takes the head off a record of extended data: code, status, number.
func record(m obd.Message, number byte) (c obd.CodeStatus, rest []byte, kept bool, err error) {
	if err := expect(m, obd.CodeData, 6, obd.CodeRecord); err != nil {
		return c, nil, false, err
	}
	c = codeStatus(m.Data[2:])
	switch {
	case len(m.Data) == 6:
		return c, nil, false, nil
	case m.Data[6] != number:
		return c, nil, false, malformed(m, "is record %02X, not %02X", m.Data[6], number)
	}
	return c, m.Data[7:], true, nil
}
