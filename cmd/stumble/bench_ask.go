package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"stumble/misfire/bench"
	"stumble/misfire/engine"
	"stumble/misfire/job"
	"stumble/views"
)

// asker asks for readings one after the other. Questions go where errors go, so that the output holds results alone.
type asker struct {
	*benching
	input  *bufio.Reader
	length string // of the wire before, as it was typed
	saved  int
}

// mostLine is how long a typed line may be.
const mostLine = 4096

func newAsker(b *benching) *asker {
	return &asker{benching: b, input: bufio.NewReaderSize(b.in, mostLine)}
}

var errTooLong = errors.New("that line is too long: a reading is a few letters")

// ask puts a question and reads the answer; io.EOF when the input has ended. The reading cannot be called off, so it is
// left behind when the user gives up.
func (t *asker) ask(format string, args ...any) (string, error) {
	fmt.Fprintf(t.err, format, args...)
	type answer struct {
		text string
		err  error
	}
	typed := make(chan answer, 1)
	go func() {
		line, err := t.input.ReadSlice('\n')
		typed <- answer{strings.TrimSpace(string(line)), err}
	}()
	select {
	case a := <-typed:
		switch {
		case errors.Is(a.err, bufio.ErrBufferFull):
			return "", errTooLong
		case a.err != nil && a.text == "":
			fmt.Fprintln(t.err)
			return "", a.err
		}
		return a.text, nil
	case <-t.ctx.Done():
		fmt.Fprintln(t.err)
		return "", context.Cause(t.ctx)
	}
}

// which asks for a kind; nil when no more are wanted.
func (t *asker) which() (*bench.Kind, error) {
	for {
		key, err := t.ask("What was measured (? lists it, Enter ends): ")
		switch {
		case err != nil:
			return nil, err
		case key == "":
			return nil, nil
		case key == "?":
			if err := views.WriteBenchKinds(t.err); err != nil {
				return nil, err
			}
			continue
		}
		k, err := bench.FindKind(key)
		if err == nil {
			return &k, nil
		}
		t.again(err)
	}
}

// again tells what was wrong with an answer.
func (t *asker) again(err error) { fmt.Fprintf(t.err, "  %s\n", explain(err)) }

// kind asks for the readings of one kind.
func (t *asker) kind(e *bench.Entry) error {
	e.Usual = true
	for _, line := range e.Kind.Caution {
		writeWrapped(t.err, "CAUTION: ", line)
	}
	writeWrapped(t.err, "", fmt.Sprintf("%s: %s.", e.Kind.Name, e.Kind.How))
	if !e.Kind.Each {
		return t.reading(e, 0)
	}
	if e.Cylinders == 0 {
		if err := t.cylinders(e); err != nil {
			return err
		}
	}
	for cylinder := 1; cylinder <= e.Cylinders; cylinder++ {
		if err := t.reading(e, cylinder); err != nil {
			return err
		}
	}
	return nil
}

// cylinders asks how many there are.
func (t *asker) cylinders(e *bench.Entry) error {
	for {
		text, err := t.ask("How many cylinders has the engine: ")
		if err != nil {
			return err
		}
		n, err := strconv.Atoi(text)
		if err == nil && n >= 1 && n <= engine.MaxCylinders {
			e.Cylinders = n
			return nil
		}
		t.again(fmt.Errorf("%q is no number of cylinders: write one of 1 to %d", onOneLine(text), engine.MaxCylinders))
	}
}

// reading asks for one reading until it is right or left out, and saves it.
func (t *asker) reading(e *bench.Entry, cylinder int) error {
	for {
		text, err := t.ask("%s: ", question(&e.Kind, cylinder))
		if err != nil || text == "" {
			return err
		}
		if text, err = t.withLength(e, cylinder, text); err != nil {
			return err
		}
		all, err := e.Value(cylinder, text)
		if err != nil {
			t.again(err)
			continue
		}
		return t.keep(all)
	}
}

// question asks for a value.
func question(k *bench.Kind, cylinder int) string {
	words := "Cylinder " + strconv.Itoa(cylinder)
	if cylinder == 0 {
		words = "Reading"
	}
	if k.Unit != "" {
		words += ", " + k.Unit + " if no unit is written"
	}
	return words + " (Enter leaves it out)"
}

// withLength adds a wire's length to its value, where none is known by now.
func (t *asker) withLength(e *bench.Entry, cylinder int, value string) (string, error) {
	if e.Kind.Part != bench.Wire || e.Length > 0 || e.Unmeasured || strings.Contains(value, "@") {
		return value, nil
	}
	bare := *e
	bare.Unmeasured = true
	if _, err := bare.Value(cylinder, value); err != nil {
		return value, nil // what is wrong with it is told next
	}
	hint := "as 60cm or 2ft; ? = not known"
	if t.length != "" {
		hint += "; Enter = " + t.length + " again"
	}
	for {
		length, err := t.ask("  its length (%s): ", hint)
		if err != nil {
			if errors.Is(err, io.EOF) {
				err = fmt.Errorf("the input ended before the length of the wire of cylinder %d, which is left out", cylinder)
			}
			return "", err
		}
		if length == "" {
			length = t.length
		}
		if length == "?" {
			return value + "@?", nil
		}
		if _, _, err := bench.ParseLength(length); err != nil {
			t.again(err)
			continue
		}
		t.length = length
		return value + "@" + length, nil
	}
}

// keep saves what was read of one part and says what it is worth so far.
func (t *asker) keep(all []bench.Reading) error {
	n, err := t.save(all)
	if err != nil {
		return err
	}
	t.saved += n
	judged := bench.Judge(job.Values(t.bench.Readings))
	words := t.benchWords()
	for i := len(judged) - len(all); i < len(judged); i++ {
		fmt.Fprintf(t.err, "  %s: %s\n", words.Reading(&judged[i].Reading), words.Mark(judged[i].Mark))
	}
	return nil
}
