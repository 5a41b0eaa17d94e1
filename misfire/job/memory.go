package job

import (
	"encoding/json"
	"time"

	"stumble/misfire/journal"
	"stumble/obd"
	"stumble/obd/vehicle"
)

// Memory is what the journal remembers of cars and adapters, so that the next drive begins the sooner. Nothing of it is
// believed unseen: a car is known by its VIN, an adapter asked for its name at the speed that it had. A nil Memory, and one
// without a journal, remembers nothing; trouble with the file is told by whoever saves.
type Memory struct {
	Journal *journal.Journal
	Place   func() string // where the adapter is reached
	Now     func() time.Time
}

// KnownAdapter is what is remembered of an adapter.
type KnownAdapter struct {
	Identity string       `json:"identity"`
	Baud     int          `json:"baud,omitempty"` // of its serial port
	Protocol obd.Protocol `json:"protocol,omitempty"`
	VIN      string       `json:"vin,omitempty"` // of the car it was last in
	// Doctor is what the last examination of it found, in that program's own form.
	Doctor json.RawMessage `json:"doctor,omitempty"`
}

// knownCar is what is remembered of a car.
type knownCar struct {
	Form         int                   `json:"form"`
	Capabilities *vehicle.Capabilities `json:"capabilities"`
}

// carForm is the form of knownCar; another one is not understood.
const carForm = 1

func (m *Memory) recall(kind journal.KnownKind, name string, into any) bool {
	if m == nil || m.Journal == nil {
		return false
	}
	k, found, err := m.Journal.Recall(kind, name)
	return err == nil && found && json.Unmarshal(k.Data, into) == nil
}

func (m *Memory) remember(kind journal.KnownKind, name string, what any) {
	if m == nil || m.Journal == nil {
		return
	}
	data, err := json.Marshal(what)
	if err != nil {
		return
	}
	_ = m.Journal.Remember(journal.Known{Kind: kind, Name: name, At: m.Now(), Data: data})
}

// Car returns what a car of a VIN supports, nil where it is not known.
func (m *Memory) Car(vin string) *vehicle.Capabilities {
	var k knownCar
	if vin == "" || !m.recall(journal.KnownCar, vin, &k) || k.Form != carForm || k.Capabilities == nil || len(k.Capabilities.Modules) == 0 {
		return nil
	}
	return k.Capabilities
}

// SaveCar remembers what a car supports, unless something of it is still to be asked for.
func (m *Memory) SaveCar(vin string, c *vehicle.Capabilities) {
	if vin != "" && len(c.Unread) == 0 {
		m.remember(journal.KnownCar, vin, knownCar{carForm, c})
	}
}

// Adapter returns what is remembered of the adapter at a place.
func (m *Memory) Adapter(place string) (k KnownAdapter) {
	m.recall(journal.KnownAdapter, place, &k)
	return k
}

// SaveAdapter changes what is remembered of the adapter in use, and that its place was used last.
func (m *Memory) SaveAdapter(change func(*KnownAdapter)) {
	if m == nil || m.Place == nil {
		return
	}
	place := m.Place()
	if place == "" {
		return
	}
	k := m.Adapter(place)
	change(&k)
	m.remember(journal.KnownAdapter, place, k)
	m.remember(journal.KnownPort, "", place)
}

// LastPlace returns where an adapter was reached last, empty where that is not known.
func (m *Memory) LastPlace() (place string) {
	m.recall(journal.KnownPort, "", &place)
	return place
}
