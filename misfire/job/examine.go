package job

import (
	"context"
	"encoding/json"
	"time"

	"stumble/obd"
	"stumble/obd/vehicle"
)

// Examine examines the adapter for a while, beside a few questions, and remembers what it found. each, which may be nil,
// hears every exchange.
func (c *Car) Examine(ctx context.Context, length time.Duration, each func(*obd.Exchange)) (*vehicle.Examination, error) {
	e := vehicle.NewExaminer()
	c.record = func(x *obd.Exchange) {
		e.Exchange(x)
		if each != nil {
			each(x)
		}
	}
	defer func() { c.record = nil }()
	x, err := e.Run(ctx, c.Adapter, c.Caps, c.cfg.Clock, length)
	if err != nil {
		return nil, err
	}
	c.memory.SaveAdapter(func(k *KnownAdapter) { k.Doctor, _ = json.Marshal(x) })
	return x, nil
}

// LastExamination returns what an adapter's last examination found; nil where there was none.
func (k *KnownAdapter) LastExamination() *vehicle.Examination {
	var x vehicle.Examination
	if len(k.Doctor) == 0 || json.Unmarshal(k.Doctor, &x) != nil {
		return nil
	}
	return &x
}
