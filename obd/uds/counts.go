package uds

import "stumble/obd"

// countsUnit is the unit-and-scaling id of misfire counts; the record writes it in two bytes.
const countsUnit = 0x24

// Misfire counts hang on the codes of the cylinders: 59 06 code status 92 n and n results of eight bytes, 00 scaling
// value limit limit (two toolkits agree). No result says what it tests: which is the ten-cycle average and which the
// count of this driving cycle is not known. So each keeps its place, and who counts finds the one that moves while the
// engine runs.

// results walks through the results of a record.
func results(m obd.Message, take func(place int, unit uint16, value, low, high uint16)) (c obd.CodeStatus, err error) {
	c, rest, kept, err := record(m, recordResults)
	if err != nil || !kept {
		return c, err
	}
	if len(rest) == 0 {
		return c, malformed(m, "does not say how many results it holds")
	}
	n, rest := int(rest[0]), rest[1:]
	place := 0
	for ; place < n && len(rest) >= resultBytes; place++ {
		take(place, word(rest), word(rest[2:]), word(rest[4:]), word(rest[6:]))
		rest = rest[resultBytes:]
	}
	switch {
	case place < n:
		err = malformed(m, "holds %d whole results of %d", place, n)
	case len(rest) > 0:
		err = malformed(m, "goes on behind its last result")
	}
	return c, err
}

// cylinder is whose misfire code a message of counts is about; false for another code, or one with a type of failure.
func cylinder(m obd.Message) (int, bool) {
	if len(m.Data) < 6 || m.Data[4] != 0 {
		return 0, false
	}
	return obd.Code(word(m.Data[2:])).MisfireCylinder()
}

// AppendCounts reads the counts of an answer to Counts for polling, without allocating when dst has room: Service is
// CodeData, ID the monitor that other cars would count that cylinder by, Part the place in the record from 0. Only
// results in the unit of counts are taken, and only of a record that is whole: nothing is appended on an error.
func AppendCounts(dst []obd.Reading, m obd.Message) ([]obd.Reading, error) {
	c, _ := cylinder(m)
	before := len(dst)
	_, err := results(m, func(place int, unit, value, _, _ uint16) {
		if c > 0 && unit == countsUnit {
			dst = append(dst, obd.Reading{Module: m.Module, Service: obd.CodeData, ID: obd.MIDMisfire + byte(c),
				Part: byte(place), Value: float64(value), Unit: obd.Counts})
		}
	})
	if err != nil {
		return dst[:before], err
	}
	return dst, nil
}

// DecodeCounts reads all results of an answer to Counts, and the code's own status. A count that is the only one of its
// code is taken for that of this driving cycle. Whole results before a fault are returned with the error.
func DecodeCounts(m obd.Message) (c obd.CodeStatus, out []obd.TestResult, err error) {
	cyl, ok := cylinder(m)
	counts := 0
	c, err = results(m, func(place int, unit, value, low, high uint16) {
		if !ok || unit > 0xFF {
			return // a scaling that no table has
		}
		if unit == countsUnit {
			counts++
		}
		out = append(out, obd.RecordResult(m.Module, cyl, byte(place+1), byte(unit), value, low, high))
	})
	for i := range out {
		if counts == 1 && out[i].UASID == countsUnit {
			out[i].TID = obd.TIDCount
		}
	}
	return c, out, err
}
