package car

import "time"

const (
	seconds = time.Second
	minutes = time.Minute
)

// workshopScript is a whole diagnosis as a driver would run it: key on for the intake, both idles within the
// first four minutes, then everything else, again and again.
func workshopScript() Script {
	return Script{Loop: 2, Steps: []Step{
		{Maneuver: KeyOn, Duration: 15 * seconds, Exact: true},
		{Maneuver: Start, Duration: 5 * seconds, Exact: true},
		{Maneuver: ParkIdle, Duration: 80 * seconds},
		{Maneuver: DriveIdle, Duration: 90 * seconds},
		{Maneuver: ReverseIdle, Duration: 45 * seconds},
		{Maneuver: RaisedIdle, Duration: 35 * seconds},
		{Maneuver: DriveIdle, Duration: 12 * seconds},
		{Maneuver: Cruise, Duration: 60 * seconds},
		{Maneuver: Pull, Duration: 25 * seconds},
		{Maneuver: Coast, Duration: 12 * seconds},
		{Maneuver: Cruise, Duration: 30 * seconds},
		{Maneuver: Pull, Duration: 20 * seconds},
		{Maneuver: Cruise, Duration: 20 * seconds},
		{Maneuver: Coast, Duration: 15 * seconds},
		{Maneuver: DriveIdle, Duration: 50 * seconds},
	}}
}

// longDrive stays at idle in Drive, so that a change with time is a change in like conditions.
func longDrive() Script {
	return Script{Loop: 3, Steps: []Step{
		{Maneuver: KeyOn, Duration: 15 * seconds, Exact: true},
		{Maneuver: Start, Duration: 5 * seconds, Exact: true},
		{Maneuver: ParkIdle, Duration: 60 * seconds, Exact: true},
		{Maneuver: DriveIdle, Duration: 10 * minutes, Exact: true},
		{Maneuver: ParkIdle, Duration: 1 * minutes, Exact: true},
	}}
}

// forever is one maneuver for good.
func forever(m Maneuver) Script { return Script{Steps: []Step{{Maneuver: m}}} }
