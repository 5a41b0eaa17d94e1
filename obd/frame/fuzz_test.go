package frame_test

import (
	"bytes"
	"errors"
	"slices"
	"strings"
	"testing"

	"stumble/obd"
	"stumble/obd/frame"
)

// FuzzLine throws one line at every way of printing: no panic, errors typed and short, and no more bytes
// out than digits went in.
func FuzzLine(f *testing.F) {
	for _, row := range vectorRows(f) {
		if row[0] == "wire" {
			for line := range strings.SplitSeq(row[2], "|") {
				f.Add([]byte(line))
			}
		}
	}
	f.Add([]byte("1:"))
	f.Add([]byte("7E8 1F FF 00 00 00 00 00 00"))
	f.Add([]byte("<DATA ERROR"))
	f.Fuzz(func(t *testing.T, line []byte) {
		var a frame.Assembler
		for protocol := range obd.Protocol(11) {
			for _, headers := range []bool{false, true} {
				a.Reset(frame.Format{Protocol: protocol, Headers: headers})
				before := bytes.Clone(line)
				err := a.Line(line)
				if !bytes.Equal(before, line) {
					t.Fatal("the line was written to")
				}
				var lineError *frame.LineError
				if err != nil && (!errors.As(err, &lineError) || lineError.Err == nil || len(err.Error()) > 400) {
					t.Fatalf("%T %v", err, err)
				}
				messages, _ := a.Messages()
				for _, m := range messages {
					if len(m.Data) == 0 || 2*len(m.Data) > len(line) {
						t.Fatalf("% X out of %q", m.Data, line)
					}
				}
				if err != nil && len(messages) > 0 {
					t.Fatalf("a bad line gave %v", messages)
				}
			}
		}
	})
}

// FuzzExchange throws whole exchanges: no panic, every message within bounds, asking again changes nothing,
// and every error says for which message it stands.
func FuzzExchange(f *testing.F) {
	for _, row := range vectorRows(f) {
		if row[0] == "wire" {
			f.Add(byte(wireFormats[row[3]].Protocol), wireFormats[row[3]].Headers, []byte(strings.ReplaceAll(row[2], "|", "\r")))
		}
	}
	f.Fuzz(func(t *testing.T, protocol byte, headers bool, text []byte) {
		var a frame.Assembler
		a.Reset(frame.Format{Protocol: obd.Protocol(protocol), Headers: headers})
		for line := range bytes.SplitSeq(text, []byte{'\r'}) {
			_ = a.Line(line)
		}
		messages, err := a.Messages()
		first := written(messages)
		total := 0
		for _, m := range messages {
			if len(m.Data) == 0 || len(m.Data) > 4095 {
				t.Fatalf("a message of %d bytes", len(m.Data))
			}
			total += len(m.Data)
		}
		if 2*total > len(text) {
			t.Fatalf("%d bytes out of %d characters", total, len(text))
		}
		var messageError *frame.MessageError
		if err != nil && !errors.As(err, &messageError) {
			t.Fatalf("%T %v", err, err)
		}
		if again, _ := a.Messages(); !slices.Equal(first, written(again)) {
			t.Fatal("asking again gave other messages")
		}
	})
}
