package obd

import "encoding/hex"

// Service is an SAE J1979 diagnostic service, called mode in the trade.
type Service byte

// The services of SAE J1979 that this program knows.
const (
	LiveData       Service = 0x01
	FreezeFrames   Service = 0x02
	StoredCodes    Service = 0x03
	ClearCodes     Service = 0x04
	TestResults    Service = 0x06
	PendingCodes   Service = 0x07
	VehicleInfo    Service = 0x09
	PermanentCodes Service = 0x0A
)

// The services of ISO 14229 that cars of SAE J1979-2 (OBD on UDS) answer instead.
const (
	ClearGroup Service = 0x14 // erases the codes of a functional group
	CodeData   Service = 0x19 // codes, and what is kept with each
	DataByID   Service = 0x22 // values by identifiers of two bytes
)

// LocalData is the service by which makers tell values of their own on older cars (ISO 14230-3). Readings of a user's table
// of counters carry it, whichever service told them.
const LocalData Service = 0x21

// Response is the first byte of a positive answer to s.
func (s Service) Response() byte { return byte(s) + 0x40 }

// MaxRequest is the most bytes, service included, that one request holds: what fits a single CAN frame.
const MaxRequest = 7

// Request is one service request: a comparable value, so it can key what was learned of its answers.
type Request struct {
	bytes [MaxRequest]byte
	n     uint8
}

// NewRequest builds a request of a service and its parameters. Parameters beyond MaxRequest-1 are a
// programming error and panic.
func NewRequest(s Service, params ...byte) Request {
	if len(params) > MaxRequest-1 {
		panic("obd: a request holds at most six parameter bytes")
	}
	r := Request{n: uint8(1 + len(params))}
	r.bytes[0] = byte(s)
	copy(r.bytes[1:], params)
	return r
}

// Live asks for up to six PIDs of service 01; more than one only on CAN.
func Live(pids ...byte) Request { return NewRequest(LiveData, pids...) }

// Frozen asks for one PID of a freeze frame.
func Frozen(pid, frame byte) Request { return NewRequest(FreezeFrames, pid, frame) }

// Test asks for all results of one on-board monitor (CAN) or test (older buses).
func Test(id byte) Request { return NewRequest(TestResults, id) }

// Info asks for one item of vehicle information.
func Info(id byte) Request { return NewRequest(VehicleInfo, id) }

// Service is the service asked for.
func (r Request) Service() Service { return Service(r.bytes[0]) }

// Params are the bytes after the service.
func (r Request) Params() []byte { return r.bytes[1:max(r.n, 1)] }

// Len is the number of bytes, service included.
func (r Request) Len() int { return int(r.n) }

// Append adds the request's bytes to dst.
func (r Request) Append(dst []byte) []byte { return append(dst, r.bytes[:r.n]...) }

// String is the request in hexadecimal, as it goes to the adapter.
func (r Request) String() string { return hex.EncodeToString(r.bytes[:r.n]) }
