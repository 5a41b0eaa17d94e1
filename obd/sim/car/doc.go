// Package car simulates a car behind its diagnostic socket: engine, gearbox and driver, the faults that make
// a cylinder miss, and the control modules that count the misses and answer SAE J1979 requests. It knows what
// really happened, so that whatever reads the car can be checked against the truth.
//
// What happens depends on the seed, the configuration, the driver's orders and the time alone, never on how
// often the car is asked: the simulation runs on a fixed grid of 20 ms and every firing is drawn by itself.
// Bytes are encoded here from the sheets of the standard and not by the decoders of package obd, so that a
// fault in those cannot hide.
package car
