package sim

import (
	"time"

	"stumble/obd/sim/car"
)

// neighbour is a car's socket with more on it than the car: it may change what the modules answer, and add to it. Nothing
// else of the car is touched.
type neighbour struct {
	Bus
	alter func(answers []car.Answer, node byte, request []byte) []car.Answer
}

// Request is the car's, altered.
func (n neighbour) Request(dst []car.Answer, at time.Time, node byte, request []byte) []car.Answer {
	return n.alter(n.Bus.Request(dst, at, node, request), node, request)
}

// further is the node of a module that the simulated car does not have.
const further byte = 0x40

// late makes every module take so much longer to answer.
func late(more time.Duration) func(Bus) Bus {
	return func(b Bus) Bus {
		return neighbour{b, func(answers []car.Answer, _ byte, _ []byte) []car.Answer {
			for i := range answers {
				answers[i].Delay += more
			}
			return answers
		}}
	}
}

// gateway is a module that refuses whatever is asked of all (7F, service, 7F: not supported in the active session).
func gateway(b Bus) Bus {
	return neighbour{b, func(answers []car.Answer, node byte, request []byte) []car.Answer {
		if node == 0 && len(answers) > 0 {
			refusal := car.Answer{Module: further, Delay: answers[0].Delay / 2, Data: []byte{0x7F, request[0], 0x7F}}
			answers = append([]car.Answer{refusal}, answers...)
		}
		return answers
	}}
}

// confused answers for monitor 05 with the list of monitors.
func confused(b Bus) Bus {
	return neighbour{b, func(answers []car.Answer, _ byte, request []byte) []car.Answer {
		if len(answers) > 0 && len(request) == 2 && request[0] == 0x06 && request[1]%0x20 != 0 && request[1] < 0xA0 {
			answers[0].Data = append(answers[0].Data[:0], 0x46, 0x00, 0xC0, 0x00, 0x00, 0x01)
		}
		return answers
	}}
}

// forgetful answers nothing to a request's first askings: unanswered of each that begins with one of the prefixes.
func forgetful(unanswered int, prefixes ...string) func(Bus) Bus {
	return func(b Bus) Bus {
		left := map[string]int{}
		return neighbour{b, func(answers []car.Answer, _ byte, request []byte) []car.Answer {
			for _, p := range prefixes {
				if len(request) >= len(p) && string(request[:len(p)]) == p {
					if _, met := left[p]; !met {
						left[p] = unanswered
					}
					if left[p]--; left[p] >= 0 {
						return answers[:0]
					}
				}
			}
			return answers
		}}
	}
}

// crowd is fourteen modules more that answer what they support.
func crowd(b Bus) Bus {
	return neighbour{b, func(answers []car.Answer, node byte, request []byte) []car.Answer {
		if node != 0 || len(answers) == 0 || len(request) < 2 || request[0] != 0x01 || request[1] != 0 {
			return answers
		}
		at := answers[len(answers)-1].Delay
		for i := range byte(14) {
			at += time.Millisecond
			answers = append(answers, car.Answer{Module: further + i, Delay: at, Data: []byte{0x41, 0x00, 0x80, 0x00, 0x00, 0x00}})
		}
		return answers
	}}
}
