package journal

import (
	"database/sql"
	"encoding/json"
	"fmt"
	"strconv"
	"time"

	"stumble/misfire/engine"
	"stumble/obd"
)

// DriveState is how far the recording of a drive came.
type DriveState string

// The states of a drive.
const (
	DriveRecording   DriveState = "recording"
	DriveFinished    DriveState = "finished"
	DriveInterrupted DriveState = "interrupted" // by a crash; all but its last second is there
)

// DriveInfo is what is known of a drive when it begins.
type DriveInfo struct {
	Job      int64   // 0: a new job is begun, with Vehicle and JobName
	Vehicle  Vehicle // as for SaveVehicle; not looked at when Job tells it
	JobName  string
	Name     string
	Started  time.Time
	Adapter  string // what it calls itself
	Protocol obd.Protocol
	Engine   engine.Layout // as the tally takes it
	Map      engine.Map
	// Catalyst and Emission are the limits that the car reports over 200 and 1,000 revolutions, in percent; NaN when
	// it does not.
	Catalyst, Emission float64
	Setup              []byte // JSON of the caller's; may be empty
}

// Drive is one recorded drive.
type Drive struct {
	DriveInfo // Job is its job, JobName that job's name
	ID        int64
	UID       string
	State     DriveState
	Ended     time.Time // the last that was saved
	Samples   int
	Exchanges int
	Lost      int // samples and exchanges that could not be saved
}

const driveQuery = `SELECT d.id, d.uid, d.job_id, j.name, d.name, d.state, d.started_ns, d.ended_ns, d.adapter, d.protocol, d.engine, d.map,
	d.catalyst, d.emission, d.setup, d.samples, d.exchanges, d.lost, v.id, v.uid, v.vin, v.name, v.layout, v.map, v.note
	FROM drives d JOIN jobs j ON j.id = d.job_id JOIN vehicles v ON v.id = j.vehicle_id `

func readDrive(row scanner) (d Drive, err error) {
	var started, ended int64
	var layout []byte
	var cylinders, protocol string
	var catalyst, emission sql.NullFloat64
	v := &d.Vehicle
	err = row.Scan(&d.ID, &d.UID, &d.Job, &d.JobName, &d.Name, &d.State, &started, &ended, &d.Adapter, &protocol, &layout, &cylinders,
		&catalyst, &emission, &d.Setup, &d.Samples, &d.Exchanges, &d.Lost, &v.ID, &v.UID, &v.VIN, &v.Name, &v.Layout, &v.Map, &v.Note)
	if err != nil {
		return d, err
	}
	d.Protocol = protocolOf(protocol)
	d.Started, d.Ended = timeOf(started), timeOf(ended)
	d.Catalyst, d.Emission = orNaN(catalyst), orNaN(emission)
	if err := json.Unmarshal(layout, &d.Engine); err != nil {
		return d, fmt.Errorf("the engine of drive %d cannot be read: %w", d.ID, err)
	}
	if err := d.Map.UnmarshalText([]byte(cylinders)); err != nil {
		return d, fmt.Errorf("drive %d: %w", d.ID, err)
	}
	return d, nil
}

// Drives lists the drives of a job, the oldest first; of all jobs, the newest first, with job 0.
func (j *Journal) Drives(job int64) ([]Drive, error) {
	if job == 0 {
		return list(j, readDrive, driveQuery+"ORDER BY d.id DESC")
	}
	return list(j, readDrive, driveQuery+"WHERE d.job_id = ? ORDER BY d.id", job)
}

// Drive finds one drive.
func (j *Journal) Drive(id int64) (Drive, error) {
	return one(j, readDrive, "drive", id, driveQuery+"WHERE d.id = ?", id)
}

// NameDrive gives a drive another name.
func (j *Journal) NameDrive(id int64, name string) error {
	return j.write(func(t tx) error {
		return t.known("drive", "drives", id, func(t tx) error { return t.exec("UPDATE drives SET name = ? WHERE id = ?", name, id) })
	})
}

// DeleteDrive deletes a drive and all that was recorded in it, for good. Ask first.
func (j *Journal) DeleteDrive(id int64) error {
	return j.erase(func(t tx) error {
		return t.known("drive", "drives", id, func(t tx) error {
			if busy, err := t.id("SELECT id FROM drives WHERE id = ? AND state = 'recording'", id); err != nil || busy != 0 {
				return recordingError(err, busy)
			}
			return t.exec("DELETE FROM drives WHERE id = ?", id)
		})
	})
}

// protocolCode is a protocol as it is stored: its number, empty when it is not known.
func protocolCode(p obd.Protocol) string {
	if p == obd.ProtocolUnknown {
		return ""
	}
	return strconv.Itoa(int(p))
}

// protocolOf is the protocol of a stored code, or of the words of version 1.
func protocolOf(text string) obd.Protocol {
	if n, err := strconv.ParseUint(text, 10, 8); err == nil {
		return obd.Protocol(n)
	}
	return protocolWords()[text]
}

// recordingError is err, or that a drive is still being recorded.
func recordingError(err error, drive int64) error {
	if err != nil {
		return err
	}
	return fmt.Errorf("drive %d is being recorded: end it first", drive)
}

// insertDrive makes the row of a new drive, or finds it by its uid.
func (t tx) insertDrive(uid string, job int64, info *DriveInfo) (int64, error) {
	if id, err := t.id("SELECT id FROM drives WHERE uid = ?", uid); err != nil || id != 0 {
		return id, err
	}
	layout, err := json.Marshal(info.Engine)
	if err != nil {
		return 0, err
	}
	if err := t.touch(job, info.Started); err != nil {
		return 0, err
	}
	started := nanoseconds(info.Started)
	return t.insert(`INSERT INTO drives (uid, job_id, name, state, started_ns, ended_ns, adapter, protocol, layout, engine, map, catalyst, emission, setup, samples, exchanges, lost)
		VALUES (?, ?, ?, 'recording', ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, 0, 0, 0)`,
		uid, job, info.Name, started, started, info.Adapter, protocolCode(info.Protocol), info.Engine.Key, string(layout), info.Map.String(),
		orNull(info.Catalyst), orNull(info.Emission), string(info.Setup))
}
