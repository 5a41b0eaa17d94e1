package sim

import (
	"strings"
	"time"
)

// Quirks are the ways in which adapters on the market fall short of the data sheet they claim to follow.
// The zero value is a faithful adapter. Chances are from 0 to 1.
type Quirks struct {
	EchoSticks    bool          // ATE0 answers OK and changes nothing
	EchoReturns   bool          // echo comes back whenever the protocol is set
	ResetJunk     string        // bytes before the name in the answer to a reset
	ResetClips    bool          // the name loses its first letter in the answer to a reset
	Noise         float64       // chance that a stray byte precedes a byte sent: NUL or one with the high bit set
	LosesBytes    float64       // chance that a byte sent is lost, as over a poor radio
	Misreads      float64       // chance that a line is misread from the bus; it says so: <DATA ERROR, <RX ERROR
	Refuses       []string      // commands answered "?", by their beginning, without AT: "S0", "CAF"
	NoCount       bool          // a count digit after a request is not understood
	IgnoresST     bool          // ATST answers OK and changes nothing
	LatePrompt    time.Duration // between the answer and the prompt
	DoublePrompt  float64       // chance of a second prompt
	NoProtocol    bool          // ATDPN says 0 whatever was found
	Buffer        int           // bytes of the transmit buffer; 0 for the 512 of the chip it copies
	LosesLines    bool          // a full buffer swallows lines without a word, instead of saying BUFFER FULL
	PadsFrames    bool          // single frames are shown in full, filler and all, with and without headers
	HangsOnSearch bool          // ATTPA0 hangs it until it is unplugged
	CANOnly       bool          // no hardware for any other bus

	NoReset     bool          // ATZ and ATWS give their echo and nothing more, not even a prompt
	FalseOK     []string      // commands, by their beginning, that are answered OK and do nothing
	Sulks       bool          // once it was told a protocol that the car does not speak, it hears nobody until it is reset
	SlowSearch  time.Duration // before it prints so much as SEARCHING...
	SlowRefusal time.Duration // before the "?" to a count digit
	DigitFails  float64       // chance that a request with a count digit brings NO DATA
	HalfLines   bool          // a full buffer cuts a line off and says BUFFER FULL at its end
	Doubles     float64       // chance that a line is printed twice
}

// CheapAdapter is every known quirk at once. A patient dialogue still gets its answers, if slowly: there
// is no count digit and no way to shorten the time-out, and what does not fit 128 bytes comes with holes.
func CheapAdapter() Quirks {
	return Quirks{
		EchoSticks:    true,
		EchoReturns:   true,
		ResetJunk:     "\xfc\x00\x7f",
		ResetClips:    true,
		Noise:         0.002,
		LosesBytes:    0.0005,
		Misreads:      0.001,
		Refuses:       []string{"AL", "CAF", "CFC", "AT1", "AT2", "S0", "ST", "PPS", "TP", "R0", "AMT"},
		NoCount:       true,
		LatePrompt:    12 * time.Millisecond,
		DoublePrompt:  0.05,
		NoProtocol:    true,
		Buffer:        128,
		LosesLines:    true,
		PadsFrames:    true,
		HangsOnSearch: true,
		CANOnly:       true,
	}
}

// noise is what a poor line slips in: adapters' own NULs, and bytes no adapter would print.
var noise = [...]byte{0x00, 0x00, 0x80, 0xFE, 0xFF}

// refuses reports whether a command is one the adapter does not know.
func (q *Quirks) refuses(cmd string) bool {
	for _, r := range q.Refuses {
		if strings.HasPrefix(cmd, r) {
			return true
		}
	}
	return false
}

// pretends reports whether a command is acknowledged and not done.
func (q *Quirks) pretends(cmd string) bool {
	for _, p := range q.FalseOK {
		if strings.HasPrefix(cmd, p) {
			return true
		}
	}
	return false
}

// buffer is the size of the transmit buffer.
func (q *Quirks) buffer() int {
	if q.Buffer > 0 {
		return q.Buffer
	}
	return 512
}
