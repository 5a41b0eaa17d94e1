package job

import (
	"cmp"
	"errors"
	"fmt"
	"time"

	"stumble/misfire/journal"
)

// Place says which job something is saved in. The zero Place is the newest of the vehicle, or a new one.
type Place struct {
	Job             int64 // 0: none is named
	Another         bool  // begin another for this vehicle
	Name, Complaint string
}

// OtherVehicleError says that the job that was named is of another vehicle.
type OtherVehicleError struct{ Job journal.Job }

func (e OtherVehicleError) Error() string {
	return fmt.Sprintf("job %d is of another vehicle, %s", e.Job.ID, VehicleName(e.Job.Vehicle))
}

// VehicleName returns what a vehicle goes by.
func VehicleName(v journal.Vehicle) string {
	switch {
	case v.Name == "":
		return v.VIN
	case v.VIN == "":
		return v.Name
	}
	return v.Name + " (" + v.VIN + ")"
}

// Vehicle returns a car as the journal names it. One that tells no VIN goes by the title of the car, or of its job.
func (p *Place) Vehicle(vin, title string) journal.Vehicle {
	v := journal.Vehicle{VIN: vin, Name: title}
	if vin == "" && title == "" {
		v.Name = p.Name
	}
	return v
}

// Find returns the job that was named, or the newest of the vehicle; its ID is 0 when another is to be begun. A vehicle
// that nothing is known of has none: two such cars must not be taken for one. The error is an OtherVehicleError, or the
// journal's.
func (p *Place) Find(j *journal.Journal, v journal.Vehicle) (journal.Job, error) {
	switch {
	case p.Job != 0:
		found, err := j.Job(p.Job)
		if err == nil && found.Vehicle.VIN != "" && v.VIN != "" && found.Vehicle.VIN != v.VIN {
			err = OtherVehicleError{found}
		}
		return found, err
	case p.Another || v.VIN == "" && v.Name == "":
		return journal.Job{}, nil
	}
	jobs, err := j.Jobs(journal.JobFilter{Text: cmp.Or(v.VIN, v.Name)})
	for _, found := range jobs {
		if found.Vehicle.VIN == v.VIN && (v.VIN != "" || found.Vehicle.Name == v.Name) {
			return found, err
		}
	}
	return journal.Job{}, err
}

// nameless is what a vehicle is called of which nothing is known.
const nameless = "vehicle without a VIN"

// Settle finds or begins the job to save in, and tells whether it was begun. What is told of a job that is there
// already is added to it.
func (p *Place) Settle(j *journal.Journal, v journal.Vehicle, at time.Time) (found journal.Job, begun bool, err error) {
	found, err = p.Find(j, v)
	switch {
	case err != nil:
		return found, false, err
	case found.ID != 0:
		return found, false, errors.Join(p.describe(j, found, at), learn(j, found.Vehicle, v))
	case v.VIN == "" && v.Name == "":
		v.Name = nameless
	}
	found, err = j.OpenJob(journal.Job{Vehicle: v, Name: p.Name, Complaint: p.Complaint, Opened: at})
	return found, true, err
}

// learn keeps the engine by which a vehicle is counted now, where one was named.
func learn(j *journal.Journal, known, now journal.Vehicle) error {
	if now.Layout == "" || now.Layout == known.Layout && now.Map == known.Map {
		return nil
	}
	known.Layout, known.Map = now.Layout, now.Map
	_, err := j.SaveVehicle(known)
	return err
}

// describe gives a job that is open the name and the complaint that were told now.
func (p *Place) describe(j *journal.Journal, found journal.Job, at time.Time) error {
	if p.Name != "" && p.Name != found.Name {
		if err := j.NameJob(found.ID, p.Name); err != nil {
			return err
		}
	}
	if p.Complaint != "" && p.Complaint != found.Complaint {
		return j.AddNote(found.ID, journal.Note{At: at, Text: "complaint: " + p.Complaint})
	}
	return nil
}
