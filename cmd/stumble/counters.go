package main

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"stumble/misfire/job"
	"stumble/obd"
	"stumble/obd/counters"
	"stumble/obd/elm"
	"stumble/obd/vehicle"
	"stumble/views/say"
)

const countersAbout = `Read each counter of your own table once, and show the bytes that came and the value that the table makes of them.

Many older cars count misses in their maker's own data alone. The service information tells where; a table in a FILE tells
it to stumble, a CSV file with a line for each cylinder:

  cylinder,request,header,bytes,signed,factor,kind,wrap
  1,21 31,,1-2,no,1,cycle,
  2,21 32,,1-2,no,1,cycle,

request: what is sent, in hexadecimal, at most seven bytes: service 21 or 22 with its identifier or, on a bus before CAN, 06
with a test and its component (06 53 02). header: whom to ask, three or six digits; empty: all modules. bytes: which data
bytes of the answer, from 1 behind what it repeats of the request. signed, factor, wrap (the raw number at which the counter
begins again at 0) may be empty. kind: cycle (this driving cycle), clear (since the codes were cleared), revolutions (the
last 200 turns), percent (of the cylinder's firings in those). Lines that begin with # are passed over.

Only these requests are sent, beside what is sent to every car, and only after SEND was typed. 'stumble watch' and 'stumble
loadtest' count by the table with --counters FILE; once it has worked it is kept with the vehicle.`

// sendWord is what must be typed before requests of the user's own are sent.
const sendWord = "SEND"

// countersCommand is the command that tries a user's table of counters.
func countersCommand(a *app) *cobra.Command {
	c := &cobra.Command{
		Use:     "counters",
		Short:   "read the maker's own misfire counts by a table of yours",
		Long:    countersAbout,
		Example: "stumble counters check counters.csv --port /dev/ttyUSB0",
		Args:    atMost(0),
		RunE:    func(*cobra.Command, []string) error { return usagef("say what to do: stumble counters check FILE") },
	}
	var w where
	check := &cobra.Command{
		Use:     "check FILE",
		Short:   "read each counter of a table once",
		Long:    countersAbout,
		Example: "stumble counters check counters.csv --port /dev/ttyUSB0",
		Args:    atMost(1),
		RunE:    func(_ *cobra.Command, args []string) error { return checkCounters(a, &w, args) },
	}
	w.flags(check.Flags())
	c.AddCommand(check)
	return c
}

// readCounters is the text of a user's table, which is whole; empty for no file.
func readCounters(path string) (text string, err error) {
	if path == "" {
		return "", nil
	}
	b, err := os.ReadFile(path)
	if err != nil {
		return "", fmt.Errorf("the table of counters cannot be read: %w; name its file", err)
	}
	if _, err := counters.Parse(string(b)); err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return string(b), nil
}

// useCounters has a car counted by the user's table, once its requests were shown and confirmed. A table that worked on
// this vehicle before was.
func (a *app) useCounters(c *job.Car, text string, s *job.Saver) error {
	if text == "" {
		return nil
	}
	vin, _, err := vehicle.ReadVIN(a.ctx, c.Adapter, c.Caps)
	if err != nil {
		return err
	}
	if s.KnownCounters(vin) != text {
		if err := a.confirmCounters(text); err != nil {
			return err
		}
	}
	return c.UseCounters(text)
}

// confirmCounters shows what a table sends and has it confirmed.
func (a *app) confirmCounters(text string) error {
	table, err := counters.Parse(text)
	if err != nil {
		return err
	}
	writeWrapped(a.err, "", "Beside what is sent to every car, this table sends:")
	shown := map[string]bool{}
	for i := range table {
		if line := requestWords(&table[i]); !shown[line] {
			shown[line] = true
			writeWrapped(a.err, "  ", line)
		}
	}
	fmt.Fprintf(a.err, "They read; compare them with the service information of this car. Type %s to go on: ", sendWord)
	typed, err := a.readLine()
	if err != nil {
		return err
	}
	if strings.TrimSpace(typed) != sendWord {
		return errors.New("nothing of the table was sent: the word " + sendWord + " was not typed")
	}
	fmt.Fprintln(a.err)
	return nil
}

// requestWords is what is sent for a counter, and to whom.
func requestWords(c *counters.Counter) string {
	line := spaced(c.Request.Append(nil))
	if c.Header != "" {
		return line + ", header " + c.Header
	}
	return line + ", to all modules"
}

// spaced is bytes in hexadecimal, parted by blanks.
func spaced(b []byte) string { return fmt.Sprintf("% X", b) }

// checkCounters reads each counter of a table once.
func checkCounters(a *app, w *where, args []string) error {
	if len(args) == 0 {
		return usagef("say which table: stumble counters check FILE")
	}
	text, err := readCounters(args[0])
	if err != nil {
		return err
	}
	t, err := a.target(w)
	if err != nil {
		return err
	}
	c, err := a.connect(t, nil)
	if err != nil {
		return err
	}
	defer c.Close()
	if err := a.useCounters(c, text, nil); err != nil {
		return err
	}
	read, err := vehicle.ReadCounters(a.ctx, c.Adapter, c.Caps.Counters)
	good := 0
	for i := range read {
		if read[i].Err == nil {
			good++
		}
		writeWrapped(a.out, "", counterLine(&read[i]))
	}
	if err == nil && good == 0 {
		err = errors.New("no counter of the table was told; look at the answers, the bytes and the header")
	}
	return err
}

// counterLine is what came of asking for one counter.
func counterLine(r *vehicle.CounterReading) string {
	line := "cylinder " + strconv.Itoa(r.Counter.Cylinder) + ": " + spaced(r.Counter.Request.Append(nil))
	if len(r.Answer) > 0 {
		line += ", " + r.Module.String() + " answers " + spaced(r.Answer)
	}
	if len(r.Raw) > 0 {
		line += ", bytes " + spaced(r.Raw) + ", " + say.English().CounterValue(r.Counter.Kind, r.Value)
	}
	if r.Err != nil {
		line += ": " + counterTrouble(r.Err)
	}
	return line
}

// counterTrouble is why a counter has no value, in a few words.
func counterTrouble(err error) string {
	var malformed *obd.MalformedError
	var refused obd.NegativeResponse
	switch {
	case errors.As(err, &malformed):
		return "the answer holds no such bytes, or not for this component"
	case errors.As(err, &refused):
		return refused.Error()
	case errors.Is(err, elm.NoData):
		return elm.NoData.Error()
	}
	return explain(err)
}
