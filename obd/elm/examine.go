package elm

import (
	"context"
	"errors"
	"strings"
	"time"

	"stumble/obd"
)

// Levers is what an adapter and a car have shown to allow in the dialogue so far, by which requests cost less.
type Levers struct {
	Headers   bool // the adapter prints who answers
	OneModule bool // one module can be asked alone
	Digit     bool // a request may say how many lines to wait for
	Eager     bool // without that, the adapter waits less by its own measure
	Slow      bool // the modules answer only when the adapter waits its longest
}

// Levers are those that work now.
func (a *Adapter) Levers() Levers {
	return Levers{Headers: a.headers, OneModule: !a.aimless && a.headers && a.protocol.CAN(), Digit: a.counts.use,
		Eager: a.hurries == hurrying, Slow: a.slow}
}

// Claim is a set-up command that an adapter of its version should know.
type Claim struct {
	Command, Since string // the version that brought it (ELM327 data sheet; versions 1.0 to 1.4 from memory)
	Due            bool   // by what it calls itself it should know it
	Known          bool
}

// Claims asks the adapter for harmless commands of several versions, none of which changes anything for long. real reports
// whether there ever was a version of that number: 1.5 never was, 2.1 is often false.
func (a *Adapter) Claims(ctx context.Context) (claims []Claim, real bool, err error) {
	version := versionOf(a.identity)
	for _, c := range [...]struct{ command, since string }{
		{"ATAL", "1.0"}, {"ATRV", "1.0"}, {"ATAT1", "1.2"}, {"ATS0", "1.3"}, {"ATCAF1", "1.0"}, {"ATIGN", "1.4"}, {"ATST32", "1.0"},
	} {
		err := a.command(ctx, c.command, commandLimit)
		if err != nil && !errors.Is(err, NotUnderstood) {
			return claims, false, err
		}
		claims = append(claims, Claim{Command: c.command, Since: c.since, Due: version >= c.since, Known: err == nil})
	}
	return claims, realVersions[version], nil
}

// realVersions are those that the chip ever had, without the letter of a repair. Never written to.
var realVersions = map[string]bool{
	"1.0": true, "1.1": true, "1.2": true, "1.3": true, "1.4": true, "2.0": true, "2.1": true, "2.2": true, "2.3": true,
}

// versionOf is the number in a name such as "ELM327 v1.4b", without its letter; empty where there is none.
func versionOf(identity string) string {
	_, v, _ := strings.Cut(strings.ToLower(identity), " v")
	return strings.TrimRight(v, "abcdefghijklmnopqrstuvwxyz ")
}

// WaitsAsTold reports whether the adapter waits for an answer as long as it is told: it is told two times for a request
// that nobody answers, and must differ by half of what they differ by at least.
func (a *Adapter) WaitsAsTold(ctx context.Context, unanswered obd.Request) (bool, error) {
	a.owed = append(a.owed, a.usualWait(), "ATAT1")
	defer a.putBack(ctx)
	if err := a.try(ctx, "ATAT0"); err != nil {
		return false, err
	}
	var took [2]time.Duration
	for i, line := range [...]string{"ATST19", "ATST64"} { // 100 and 400 ms
		if err := a.try(ctx, line); err != nil {
			return false, err
		}
		_, err := a.askOnce(ctx, a.cfg.Clock.Now(), unanswered, 0)
		if err != nil && !errors.Is(err, NoData) {
			return false, err
		}
		took[i] = a.received.Sub(a.sent)
	}
	return took[1]-took[0] >= 150*time.Millisecond, nil
}
