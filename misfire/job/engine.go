package job

import (
	"fmt"

	"stumble/misfire"
	"stumble/misfire/engine"
)

// MisfitError says that an engine or a map is not that of the car. One of Counted and Mapped is 0.
type MisfitError struct {
	Cylinders int // of the engine
	Counted   int // cylinders that the car counts
	Mapped    int // cylinders that the map names
}

func (e *MisfitError) Error() string {
	if e.Mapped > 0 {
		return fmt.Sprintf("the map names %d cylinders, the engine has %d", e.Mapped, e.Cylinders)
	}
	return fmt.Sprintf("the car counts the misses of %d cylinders, the engine chosen has %d", e.Counted, e.Cylinders)
}

// FitEngine takes the engine from the number of cylinders that the car counts, where none was named, and refuses an
// engine or a map that the car contradicts, as a MisfitError. counted is 0 for a car without counts.
func FitEngine(cfg *misfire.Config, counted int) (err error) {
	if cfg.Engine.Cylinders == 0 && counted > 0 {
		if cfg.Engine, err = engine.Plain(counted); err != nil {
			return err
		}
	}
	n := cfg.Engine.Cylinders
	switch {
	case counted > n:
		return &MisfitError{Cylinders: n, Counted: counted}
	case cfg.Map.Len() > 0 && n > 0 && cfg.Map.Len() != n:
		return &MisfitError{Cylinders: n, Mapped: cfg.Map.Len()}
	}
	return nil
}

// layoutTold is the layout and the map that a vehicle is known by: none where only the cylinders were counted.
func layoutTold(cfg *misfire.Config) (layout, cylinders string) {
	if plain, err := engine.Plain(cfg.Engine.Cylinders); err != nil || plain.Key != cfg.Engine.Key {
		layout = cfg.Engine.Key
	}
	if cfg.Map.Len() > 0 {
		cylinders = cfg.Map.String()
	}
	return layout, cylinders
}
