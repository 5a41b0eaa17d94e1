package report

import "stumble/obd"

// The units of the United States that package obd does not have, since no car reports in them.
const (
	milesHour       obd.Unit = "mph"
	miles           obd.Unit = "mi"
	fahrenheit      obd.Unit = "°F"
	psi             obd.Unit = "psi"
	inchesOfMercury obd.Unit = "inHg"
)

// measure is a value in the units of the page's country. Factors are exact (NIST Special Publication 811, appendix B:
// mile, degree Fahrenheit) or to seven figures (psi).
func (w *words) measure(v float64, unit obd.Unit) (float64, obd.Unit) {
	if w.units != US {
		return v, unit
	}
	const kilometresAMile, kilopascalsAPSI = 1.609344, 6.894757
	switch unit {
	case obd.KilometresHour:
		return v / kilometresAMile, milesHour
	case obd.Kilometres:
		return v / kilometresAMile, miles
	case obd.Celsius:
		return v*9/5 + 32, fahrenheit
	case obd.Kilopascals:
		return v / kilopascalsAPSI, psi
	}
	return v, unit
}

// mercury is kilopascals as a gauge of vacuum shows them where inches of mercury are usual (NIST Special Publication
// 811: 3.38638 kPa at 32 degrees Fahrenheit).
func (w *words) mercury(kilopascals float64) (float64, obd.Unit) {
	if w.units != US {
		return kilopascals, obd.Kilopascals
	}
	return kilopascals / 3.38638, inchesOfMercury
}
