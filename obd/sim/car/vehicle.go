package car

import "stumble/obd"

// maxCylinders is the most that on-board monitor ids A2 to AD can name.
const maxCylinders = 12

// Vehicle is the build of a car: what does not change from one drive to the next. The makers' names and the
// world-maker code 0LK are invented.
type Vehicle struct {
	Name     string
	VIN      string // 17 characters with a valid check digit
	Protocol obd.Protocol

	FiringOrder []int    // cylinder numbers in the order they fire
	Banks       [][]int  // cylinder numbers of each bank, one fuel trim a bank
	Coils       [][2]int // cylinders that share a coil; none with a coil on each plug

	Litres float64 // displacement
	Torque float64 // best crank torque, Nm
	Mass   float64 // kg

	Idle      float64 // warm idle in Park, rpm
	DriveIdle float64 // warm idle in gear with the brake held, rpm
	IdleLoad  float64 // calculated load at warm idle in Park, percent
	GearLoad  float64 // what the converter adds at rest in Drive, percent points

	Ratios  []float64 // forward gears, first to last
	Reverse float64
	Final   float64

	Transmission bool // the gearbox has a control module of its own, at node 0x18

	Calibration             string // engine calibration id, up to 16 characters
	Verification            uint32 // engine calibration verification number
	TransmissionCalibration string
	TransmissionCheck       uint32
}

// Cylinders is the number of cylinders.
func (v *Vehicle) Cylinders() int { return len(v.FiringOrder) }

// mate is the cylinder that shares its coil with cyl, or 0.
func (v *Vehicle) mate(cyl int) int {
	for _, pair := range v.Coils {
		switch cyl {
		case pair[0]:
			return pair[1]
		case pair[1]:
			return pair[0]
		}
	}
	return 0
}

// Wren is a 1.6 l inline four with two shared coils and plug wires.
func Wren() Vehicle {
	return Vehicle{
		Name: "Larkspur Wren 1.6", VIN: "0LKWR16A4R0104217", Protocol: obd.CAN11At500,
		FiringOrder: []int{1, 3, 4, 2}, Banks: [][]int{{1, 2, 3, 4}}, Coils: [][2]int{{1, 4}, {2, 3}},
		Litres: 1.6, Torque: 150, Mass: 1250, Idle: 740, DriveIdle: 670, IdleLoad: 21, GearLoad: 12,
		Ratios: []float64{3.6, 2.1, 1.4, 1.0, 0.75}, Reverse: 3.2, Final: 4.1,
		Transmission: true,
		Calibration:  "LKW16-AT-0417B", Verification: 0x5A17C3E2,
		TransmissionCalibration: "LKT5-0212A", TransmissionCheck: 0x00C4419D,
	}
}

// Curlew is a 3.0 l V6, numbered along the banks, with a coil on each plug.
func Curlew() Vehicle {
	return Vehicle{
		Name: "Larkspur Curlew 3.0", VIN: "0LKCW30B3P0220871", Protocol: obd.CAN11At500,
		FiringOrder: []int{1, 4, 2, 5, 3, 6}, Banks: [][]int{{1, 2, 3}, {4, 5, 6}},
		Litres: 3.0, Torque: 290, Mass: 1680, Idle: 680, DriveIdle: 620, IdleLoad: 19, GearLoad: 11,
		Ratios: []float64{4.1, 2.4, 1.55, 1.15, 0.87, 0.69}, Reverse: 3.4, Final: 3.4,
		Transmission: true,
		Calibration:  "LKC30-AT-1109", Verification: 0x1D90B47F,
		TransmissionCalibration: "LKT6-1101", TransmissionCheck: 0x7E22A805,
	}
}

// Plover is a 2.0 l flat four, numbered odd and even, with two shared coils.
func Plover() Vehicle {
	return Vehicle{
		Name: "Larkspur Plover 2.0", VIN: "0LKPV20C5N0318840", Protocol: obd.CAN11At500,
		FiringOrder: []int{1, 3, 2, 4}, Banks: [][]int{{1, 3}, {2, 4}}, Coils: [][2]int{{1, 2}, {3, 4}},
		Litres: 2.0, Torque: 195, Mass: 1420, Idle: 700, DriveIdle: 650, IdleLoad: 22, GearLoad: 13,
		Ratios: []float64{3.5, 2.05, 1.38, 1.0, 0.74}, Reverse: 3.1, Final: 3.9,
		Calibration: "LKP20-AT-0803", Verification: 0xB3066D18,
	}
}

// Siskin is a new 1.4 l inline four, with a coil on each plug.
func Siskin() Vehicle {
	return Vehicle{
		Name: "Larkspur Siskin 1.4", VIN: "0LKSK14E3V0400316", Protocol: obd.CAN11At500,
		FiringOrder: []int{1, 3, 4, 2}, Banks: [][]int{{1, 2, 3, 4}},
		Litres: 1.4, Torque: 165, Mass: 1290, Idle: 720, DriveIdle: 660, IdleLoad: 22, GearLoad: 12,
		Ratios: []float64{3.9, 2.3, 1.5, 1.1, 0.84, 0.67}, Reverse: 3.3, Final: 3.8,
		Transmission: true,
		Calibration:  "LKS14-AT-0226", Verification: 0x40E7119C,
		TransmissionCalibration: "LKT6-2604", TransmissionCheck: 0x19B2F0A6,
	}
}

// Heron is a new 4.8 l V8, numbered along the banks, with a coil on each plug.
func Heron() Vehicle {
	return Vehicle{
		Name: "Larkspur Heron 4.8", VIN: "0LKHN48F9V0500927", Protocol: obd.CAN11At500,
		FiringOrder: []int{1, 5, 4, 8, 6, 3, 7, 2}, Banks: [][]int{{1, 2, 3, 4}, {5, 6, 7, 8}},
		Litres: 4.8, Torque: 470, Mass: 2150, Idle: 620, DriveIdle: 570, IdleLoad: 18, GearLoad: 10,
		Ratios: []float64{4.2, 2.6, 1.7, 1.3, 1.0, 0.77}, Reverse: 3.4, Final: 3.3,
		Transmission: true,
		Calibration:  "LKH48-AT-0311", Verification: 0xC2085D61,
		TransmissionCalibration: "LKT8-2601", TransmissionCheck: 0x8D5530EE,
	}
}

// Rook is an older 1.8 l inline four on the K-line: no misfire counts.
func Rook() Vehicle {
	return Vehicle{
		Name: "Larkspur Rook 1.8", VIN: "0LKRK18D01W407733", Protocol: obd.ISO9141,
		FiringOrder: []int{1, 3, 4, 2}, Banks: [][]int{{1, 2, 3, 4}}, Coils: [][2]int{{1, 4}, {2, 3}},
		Litres: 1.8, Torque: 160, Mass: 1180, Idle: 780, DriveIdle: 700, IdleLoad: 23, GearLoad: 11,
		Ratios: []float64{2.8, 1.55, 1.0, 0.72}, Reverse: 2.4, Final: 3.9,
		Calibration: "LKR18-A-2207", Verification: 0x0000E41C,
	}
}
