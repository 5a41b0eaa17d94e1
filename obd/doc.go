// Package obd holds what a vehicle says through SAE J1979 diagnostic services, as typed values: requests,
// whole messages, readings, trouble codes, monitors, on-board test results and vehicle information. It is
// pure: no input, no output, no clock.
package obd
