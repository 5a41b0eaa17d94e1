package job

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/obd"
	"stumble/obd/clock"
	"stumble/obd/elm"
	"stumble/obd/sim"
)

// manners are the rows of the adapter-faults sheet (what goes wrong with adapters, each with its source there) as manners of
// the simulated adapter, with what a drive over it tells its user beside the counts, and what is never sent.
var manners = []struct {
	row    string
	name   string
	told   []NoticeKind // nothing else
	unread []byte       // monitors that stay unread at the start
	none   bool         // no counter can be read
	part   bool         // of the misses some are not counted: a counter came late, or the link was away
	never  []string     // beginnings of lines that are never sent
}{
	{row: "1 a version that never was", name: "lying-version"},
	{row: "2 ATTPA0 hangs it", name: "cheap-adapter", never: []string{"ATTPA", "ATTP"}},
	{row: "3 ? to AL, CAF, CFC, R0", name: "lying-version", never: []string{"ATAL", "ATCFC", "ATR0"}},
	{row: "4 half of flow control", name: "half-flow-control", never: []string{"ATFC"}},
	{row: "5 OK to what it does not do", name: "pretender", never: []string{"ATCAF0", "ATCFC"}},
	{row: "6 no optional commands", name: "half-flow-control", never: []string{"ATCSM", "ATCTM", "ATJE"}},
	{row: "7 ATZ never answered", name: "no-reset"},
	{row: "9 sulks after a wrong protocol", name: "wide+sulking-adapter"},
	{row: "10 slow to search", name: "wide+slow-search"},
	{row: "11 modules slower than the adapter waits", name: "slow-modules", part: true},
	{row: "12 the usual wait after each answer", name: "lying-version"},
	{row: "13 digit refused after 21 s", name: "slow-refusal"},
	{row: "13 digit brings NO DATA now and then", name: "digit-fails"},
	{row: "14 a prompt twice, and late", name: "cheap-adapter"},
	{row: "15 ATST without effect", name: "pretender"},
	{row: "16 BUFFER FULL at the end of half a line", name: "half-lines"},
	{row: "17 a long answer misses a line", name: "small-buffer", told: []NoticeKind{MonitorsUnread}, unread: []byte{0xA1, 0xA2, 0xA3, 0xA4, 0xA5}, none: true},
	{row: "18 stray bytes", name: "noisy-adapter"},
	{row: "19 a gateway that refuses everything", name: "gateway"},
	{row: "20 two modules tell one value", name: "wren"},
	{row: "21 29-bit addresses", name: "wide"},
	{row: "22 addresses of no OBD scheme", name: "sixteen-modules", told: []NoticeKind{ModulesStrange}},
	{row: "23 a connection that breaks", name: "dropping-link", told: []NoticeKind{LinkLost, LinkBack}, part: true},
	{row: "24 away for a minute", name: "bluetooth-dropouts", told: []NoticeKind{LinkLost, LinkBack}, part: true},
	{row: "26 words glued to data", name: "cheap-adapter"},
	{row: "27 echo that stays, blank lines that do not", name: "cheap-adapter"},
	{row: "28 never monitors", name: "wren", never: []string{"ATMA", "ATMR", "ATMT", "ATRTR"}},
	{row: "29 decoded by service, not by place", name: "doubling-adapter"},
	{row: "32 another monitor's echo", name: "wrong-echo"},
	{row: "a first answer that does not come", name: "forgetful-modules", unread: []byte{0xA3}, part: true},
	{row: "a counter that comes late", name: "late-counter", told: []NoticeKind{MonitorsUnread}, unread: []byte{0xA3}, part: true},
}

// Over every manner of an adapter a drive counts what the car counted and nothing else; what could not be had is told.
func TestManners(t *testing.T) {
	for _, m := range manners {
		t.Run(m.row, func(t *testing.T) {
			t.Parallel()
			clk := clock.NewStepped(morning())
			s, err := sim.Open(withCar(m.name), 1, clk)
			require.NoError(t, err)
			var sent []string
			c, err := Connect(t.Context(), elm.Config{Clock: clk, Dial: func(ctx context.Context) (elm.Link, error) {
				l, err := s.Dial(ctx)
				if err != nil {
					return nil, err
				}
				return &heardLink{l, &sent}, nil
			}}, &Waiting{}, nil)
			require.NoError(t, err)
			defer c.Close()
			told := map[NoticeKind]bool{}
			tell := func(n Notice) { told[n.Kind] = true }
			d, err := c.Drive(t.Context(), Setup{}, misfire.Config{}, nil, tell)
			require.NoError(t, err)
			assert.Equal(t, m.unread, c.Caps.UnreadMonitors())
			d.Notify = func(n Notice) error { tell(n); return nil }
			d.Until = d.Now().Add(5 * time.Minute)
			shown, early := make([]uint64, 5), make([]uint64, 5) // at the end, and two seconds before
			d.Heed(func(x *obd.Sample) {
				for _, r := range x.Readings {
					if r.Service == obd.TestResults && r.Part == obd.TIDCount && r.ID > obd.MIDMisfire {
						if shown[r.ID-obd.MIDMisfire] = uint64(r.Value); x.Received.Before(d.Until.Add(-2 * time.Second)) {
							early[r.ID-obd.MIDMisfire] = uint64(r.Value)
						}
					}
				}
			})
			require.ErrorIs(t, d.Run(t.Context(), time.Minute, ignore), ErrTimeUp)
			sum := d.Finish().Summary
			if m.none {
				assert.Empty(t, sum.Total)
				assert.Equal(t, misfire.NoteUnread, sum.Notes[0].Kind, "it is not said that the car has none")
				return
			}
			truth := s.Car.Truth()
			require.Len(t, sum.Total, 4)
			misses := 0
			for _, cell := range sum.Total {
				counted := truth.Shown(cell.Cylinder)
				assert.LessOrEqual(t, uint64(cell.Misses), counted, "cylinder %d", cell.Cylinder)
				if !m.part {
					assert.LessOrEqual(t, uint64(cell.Misses), shown[cell.Cylinder], "cylinder %d", cell.Cylinder)
					assert.GreaterOrEqual(t, uint64(cell.Misses), early[cell.Cylinder], "cylinder %d", cell.Cylinder)
				}
				misses += int(cell.Misses)
				fired := float64(truth.Sum(cell.Cylinder, nil).Firings + truth.Unmonitored[cell.Cylinder-1])
				assert.LessOrEqual(t, cell.Firings, 1.01*fired, "cylinder %d", cell.Cylinder)
			}
			assert.Positive(t, misses)
			for _, line := range sent {
				for _, never := range m.never {
					assert.False(t, strings.HasPrefix(line, never), line)
				}
			}
			for kind := range told {
				assert.Contains(t, append(slices.Clone(m.told), MonitorsUnread), kind, "%v is told", kind)
			}
			for _, kind := range m.told {
				assert.True(t, told[kind], "%v is not told", kind)
			}
		})
	}
}

// withCar plugs a manner into the car that misses.
func withCar(name string) string {
	if name == "wren" || strings.HasPrefix(name, "wide") {
		return name
	}
	return "wren+" + name
}

// heardLink keeps the lines that are sent.
type heardLink struct {
	elm.Link
	sent *[]string
}

func (l *heardLink) Write(p []byte) (int, error) {
	*l.sent = append(*l.sent, strings.TrimRight(string(p), "\r"))
	return l.Link.Write(p)
}
