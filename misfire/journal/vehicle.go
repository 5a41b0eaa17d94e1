package journal

import "errors"

// Vehicle is one car. VIN or Name must be told; plates are never needed.
type Vehicle struct {
	ID     int64
	UID    string // names it for good, in every journal
	VIN    string
	Name   string
	Layout string // key of the engine's layout
	Map    string // as engine.Map writes it; empty for the standard's
	Note   string
}

const vehicleColumns = "id, uid, vin, name, layout, map, note"

func readVehicle(row scanner) (v Vehicle, err error) {
	err = row.Scan(&v.ID, &v.UID, &v.VIN, &v.Name, &v.Layout, &v.Map, &v.Note)
	return v, err
}

// Vehicles lists all vehicles, the newest first.
func (j *Journal) Vehicles() ([]Vehicle, error) {
	return list(j, readVehicle, "SELECT "+vehicleColumns+" FROM vehicles ORDER BY id DESC")
}

// Vehicle finds one.
func (j *Journal) Vehicle(id int64) (Vehicle, error) {
	return one(j, readVehicle, "vehicle", id, "SELECT "+vehicleColumns+" FROM vehicles WHERE id = ?", id)
}

// SaveVehicle saves a vehicle and returns it as it is now known. One with an ID is changed as a whole. Without, the
// car with the same VIN, or of the same name where neither tells a VIN, is the same: what v leaves empty keeps what
// is known.
func (j *Journal) SaveVehicle(v Vehicle) (Vehicle, error) {
	if v.VIN == "" && v.Name == "" {
		return v, errors.New("a vehicle needs a VIN or a name")
	}
	err := j.write(func(t tx) (err error) {
		if v.ID == 0 {
			v, err = t.vehicle(v)
			return err
		}
		known, err := t.id("SELECT id FROM vehicles WHERE id = ?", v.ID)
		if err == nil && known == 0 {
			return unknown("vehicle", v.ID)
		}
		if err != nil {
			return err
		}
		return t.exec("UPDATE vehicles SET vin = ?, name = ?, layout = ?, map = ?, note = ? WHERE id = ?", v.VIN, v.Name, v.Layout, v.Map, v.Note, v.ID)
	})
	if err != nil {
		return v, err
	}
	return j.Vehicle(v.ID)
}

// vehicle finds a vehicle by its UID, VIN or name and adds to what is known, or makes it.
func (t tx) vehicle(v Vehicle) (Vehicle, error) {
	id, err := t.id(`SELECT id FROM vehicles WHERE uid = ?1 AND ?1 <> '' OR vin = ?2 AND ?2 <> '' OR ?2 = '' AND vin = '' AND name = ?3
		ORDER BY uid = ?1 DESC, id LIMIT 1`, v.UID, v.VIN, v.Name)
	if err != nil {
		return v, err
	}
	if id != 0 {
		v.ID = id
		return v, t.exec(`UPDATE vehicles SET vin = iif(?2 <> '', ?2, vin), name = iif(?3 <> '', ?3, name), layout = iif(?4 <> '', ?4, layout),
			map = iif(?5 <> '', ?5, map), note = iif(?6 <> '', ?6, note) WHERE id = ?1`, v.ID, v.VIN, v.Name, v.Layout, v.Map, v.Note)
	}
	if v.UID == "" {
		v.UID = newUID()
	}
	v.ID, err = t.insert("INSERT INTO vehicles (uid, vin, name, layout, map, note) VALUES (?, ?, ?, ?, ?, ?)", v.UID, v.VIN, v.Name, v.Layout, v.Map, v.Note)
	return v, err
}
