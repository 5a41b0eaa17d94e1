package obd

// DecodeFrozenCode reads which code stored a freeze frame, from the answer 42 02 frame code. Code 0 means
// that nothing is stored in that frame, and that its other values mean nothing.
func DecodeFrozenCode(m Message) (code Code, frame byte, err error) {
	if err := expect(m, FreezeFrames, 5); err != nil {
		return 0, 0, err
	}
	if m.Data[1] != PIDFreezeCode {
		return 0, 0, malformed(m, "tells PID %02X of a freeze frame, not its code", m.Data[1])
	}
	return Code(word(m.Data[3:])), m.Data[2], nil
}

// FreezeFrame is what a module kept of the moment a code was stored. The standard requires frame 0 only.
type FreezeFrame struct {
	Module   Module
	Frame    byte
	Code     Code
	Readings []Reading
}
