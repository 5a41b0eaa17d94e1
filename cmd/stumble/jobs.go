package main

import "stumble/misfire/journal"

// nameOfVehicle is what a vehicle goes by.
func nameOfVehicle(v journal.Vehicle) string {
	switch {
	case v.Name == "":
		return v.VIN
	case v.VIN == "":
		return v.Name
	}
	return v.Name + " (" + v.VIN + ")"
}
