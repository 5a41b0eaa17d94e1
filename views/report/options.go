package report

import "fmt"

// Options say how a report is to be written. The zero value is English, metric, on A4.
type Options struct {
	Units Units
	Paper Paper
}

// Units are those of the country the report is read in.
type Units uint8

// The units.
const (
	Metric Units = iota // km/h, degrees Celsius, kPa
	US                  // mph, degrees Fahrenheit, psi, inches of mercury
)

// ParseUnits reads the units as a user writes them.
func ParseUnits(text string) (Units, error) {
	switch text {
	case "metric":
		return Metric, nil
	case "us":
		return US, nil
	}
	return Metric, fmt.Errorf("there are no units %q: give metric or us", text)
}

// Paper is the sheet that a report is printed on.
type Paper uint8

// The sheets.
const (
	A4     Paper = iota // ISO 216, 210 by 297 mm
	Letter              // ANSI/ASME Y14.1, 8.5 by 11 inches
)

// ParsePaper reads a sheet's name as a user writes it.
func ParsePaper(text string) (Paper, error) {
	switch text {
	case "a4", "A4":
		return A4, nil
	case "letter", "Letter":
		return Letter, nil
	}
	return A4, fmt.Errorf("there is no paper %q: give a4 or letter", text)
}

// Millimetres is the size of the sheet, held upright.
func (p Paper) Millimetres() (width, height float64) {
	if p == Letter {
		return 215.9, 279.4
	}
	return 210, 297
}
