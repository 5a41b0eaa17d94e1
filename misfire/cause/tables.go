package cause

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"stumble/obd"
)

//go:embed causes.csv
var causesTable []byte

//go:embed features.csv
var featuresTable []byte

//go:embed likelihoods.csv
var likelihoodsTable []byte

//go:embed tests.csv
var testsTable []byte

//go:embed outcomes.csv
var outcomesTable []byte

//go:embed cautions.csv
var cautionsTable []byte

//go:embed codes.csv
var codesTable []byte

//go:embed elses.csv
var elsesTable []byte

//go:embed told.csv
var toldTable []byte

// Book is what is known of causes, facts and tests. It is not changed by use, and good for any number of cases.
type Book struct {
	causes   []knownCause
	features []feature
	tests    []knownTest
	cautions map[string]string
	codes    map[obd.Code]*knownCode
	both     knownCode         // lean and rich codes together
	elses    map[string]string // names of causes that are not ranked
	symptoms []knownSymptom

	powers      powers
	likelihoods map[string][]row // by feature
	outcomes    map[string][]row // by test
}

// knownCause is a row of causes.csv.
type knownCause struct {
	key, name string
	prior     float64
	need      string // of the ignition or the block
	where     string // cylinder, pair, neighbours, coil, bank or engine
	overturn  string
}

// feature is a row of features.csv.
type feature struct {
	group, key string
	levels     []string
	words      []string // each level as it is told
}

// knownTest is a row of tests.csv.
type knownTest struct {
	key, name, part    string
	minutes, materials float64
	need               string
	outcomes           []string
	how, decides       string
	cautions           []string
}

// row is a row of likelihoods.csv or outcomes.csv: how often a cause shows each level.
type row struct {
	cause    string // "*" for every cause that has no row of its own
	ignition string // key of the only ignition it holds for; empty for all
	levels   []float64
	reason   string
	source   string
}

// StandardBook is the book of this program.
func StandardBook() *Book { return standardBook() }

var standardBook = sync.OnceValue(func() *Book {
	b, err := readBook()
	if err != nil {
		panic("cause: the built-in tables: " + err.Error()) // a test reads them, so no user meets this
	}
	return b
})

func readBook() (*Book, error) {
	b := &Book{cautions: make(map[string]string), likelihoods: make(map[string][]row), outcomes: make(map[string][]row),
		codes: make(map[obd.Code]*knownCode), elses: make(map[string]string), powers: fitted}
	for _, read := range [...]func() error{b.readCauses, b.readFeatures, b.readLikelihoods, b.readTests, b.readOutcomes, b.readCautions,
		b.readElses, b.readCodes, b.readSymptoms} {
		if err := read(); err != nil {
			return nil, err
		}
	}
	b.addElse()
	return b, nil
}

// record is one line of a table: fields by column.
type record map[string]string

func (r record) number(column string) (float64, error) {
	v, err := strconv.ParseFloat(r[column], 64)
	if err != nil || v < 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%s: %q is no number", column, r[column])
	}
	return v, nil
}

// records reads a table: comma-separated values (RFC 4180) whose first line names the columns; # begins a comment.
func records(text []byte) ([]record, error) {
	lines := csv.NewReader(bytes.NewReader(text))
	lines.Comment = '#'
	all, err := lines.ReadAll()
	if err != nil {
		return nil, err
	}
	var out []record
	for _, fields := range all[1:] {
		r := make(record)
		for i, name := range all[0] {
			r[name] = fields[i]
		}
		out = append(out, r)
	}
	return out, nil
}

// each gives the records of a table to take, and says which one was wrong.
func each(name string, text []byte, take func(record) error) error {
	all, err := records(text)
	if err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	for i, r := range all {
		if err := take(r); err != nil {
			return fmt.Errorf("%s, record %d: %w", name, i+1, err)
		}
	}
	return nil
}

func (b *Book) readCauses() error {
	return each("causes.csv", causesTable, func(r record) (err error) {
		c := knownCause{key: r["cause"], name: r["name"], need: r["needs"], where: r["where"], overturn: r["overturn"]}
		c.prior, err = r.number("prior")
		b.causes = append(b.causes, c)
		return err
	})
}

func (b *Book) readFeatures() error {
	return each("features.csv", featuresTable, func(r record) error {
		f := feature{r["group"], r["feature"], strings.Fields(r["levels"]), strings.Split(r["words"], "; ")}
		b.features = append(b.features, f)
		if len(f.words) != len(f.levels) {
			return fmt.Errorf("%s has %d levels and words for %d", f.key, len(f.levels), len(f.words))
		}
		return nil
	})
}

func (b *Book) readLikelihoods() error {
	return each("likelihoods.csv", likelihoodsTable, func(r record) error {
		at := slices.IndexFunc(b.features, func(f feature) bool { return f.key == r["feature"] })
		if at < 0 {
			return fmt.Errorf("no feature is called %q", r["feature"])
		}
		found, err := b.rows(r, b.features[at].levels)
		b.likelihoods[r["feature"]] = append(b.likelihoods[r["feature"]], found...)
		return err
	})
}

func (b *Book) readTests() error {
	return each("tests.csv", testsTable, func(r record) (err error) {
		t := knownTest{key: r["test"], name: r["name"], part: r["part"], need: r["needs"], how: r["how"], decides: r["decides"],
			outcomes: strings.Fields(r["outcomes"]), cautions: strings.Fields(r["cautions"])}
		if t.minutes, err = r.number("minutes"); err != nil {
			return err
		}
		t.materials, err = r.number("materials")
		b.tests = append(b.tests, t)
		return err
	})
}

func (b *Book) readOutcomes() error {
	return each("outcomes.csv", outcomesTable, func(r record) error {
		t, known := b.test(r["test"])
		if !known {
			return fmt.Errorf("no test is called %q", r["test"])
		}
		found, err := b.rows(r, t.outcomes)
		b.outcomes[t.key] = append(b.outcomes[t.key], found...)
		return err
	})
}

func (b *Book) readCautions() error {
	return each("cautions.csv", cautionsTable, func(r record) error {
		b.cautions[r["caution"]] = r["text"]
		return nil
	})
}

func (b *Book) readElses() error {
	return each("elses.csv", elsesTable, func(r record) error {
		b.elses[r["key"]] = r["name"]
		return nil
	})
}

func (b *Book) readCodes() error {
	return each("codes.csv", codesTable, func(r record) (err error) {
		k := &knownCode{group: r["group"], stops: r["stops_monitor"] == "yes", reason: r["reason"], source: r["source"]}
		if r["bank"] != "" {
			k.bank = int(r["bank"][0] - '0')
		}
		if k.speaks, err = b.readSpoken(r["speaks_for"]); err != nil {
			return err
		}
		if r["code"] == "both" {
			b.both = *k
			return nil
		}
		k.code, err = obd.ParseCode(r["code"])
		b.codes[k.code] = k
		return err
	})
}

func (b *Book) readSymptoms() error {
	return each("told.csv", toldTable, func(r record) (err error) {
		s := knownSymptom{key: Symptom(r["symptom"]), group: r["group"], told: r["told"], phrases: strings.Split(r["phrases"], ";"),
			reason: r["reason"], source: r["source"]}
		s.speaks, err = b.readSpoken(r["speaks_for"])
		b.symptoms = append(b.symptoms, s)
		return err
	})
}

// rows reads a row that may name several causes, parted by spaces.
func (b *Book) rows(r record, levels []string) (all []row, err error) {
	causes := strings.Fields(r["cause"])
	if len(causes) == 0 {
		return nil, fmt.Errorf("no cause is named")
	}
	for _, c := range causes {
		one := record{"cause": c, "ignition": r["ignition"], "likelihoods": r["likelihoods"], "reason": r["reason"], "source": r["source"]}
		found, err := b.row(one, levels)
		if err != nil {
			return nil, err
		}
		all = append(all, found)
	}
	return all, nil
}

// row reads how often a cause shows each of some levels: "falls:0.05 same:0.95", in their order, summing to 1.
func (b *Book) row(r record, levels []string) (row, error) {
	out := row{cause: r["cause"], ignition: r["ignition"], reason: r["reason"], source: r["source"]}
	if out.cause != "*" && b.cause(out.cause) == nil {
		return out, fmt.Errorf("no cause is called %q", out.cause)
	}
	parts, sum := strings.Fields(r["likelihoods"]), 0.0
	if len(parts) != len(levels) {
		return out, fmt.Errorf("%q has not one number for each of %v", r["likelihoods"], levels)
	}
	for i, part := range parts {
		name, number, _ := strings.Cut(part, ":")
		v, err := strconv.ParseFloat(number, 64)
		if err != nil || name != levels[i] || !(v > 0 && v < 1) {
			return out, fmt.Errorf("%q is no share, above 0 and under 1, of %q", part, levels[i])
		}
		out.levels = append(out.levels, v)
		sum += v
	}
	if math.Abs(sum-1) > 1e-9 {
		return out, fmt.Errorf("%q sums to %v", r["likelihoods"], sum)
	}
	return out, nil
}

// cause finds a cause by its key; nil where there is none.
func (b *Book) cause(key string) *knownCause {
	for i := range b.causes {
		if b.causes[i].key == key {
			return &b.causes[i]
		}
	}
	return nil
}

// words are the levels of a feature as they are told.
func (b *Book) words(feature string) []string {
	for i := range b.features {
		if b.features[i].key == feature {
			return b.features[i].words
		}
	}
	return nil
}

// test finds a test by its key.
func (b *Book) test(key string) (knownTest, bool) {
	at := slices.IndexFunc(b.tests, func(t knownTest) bool { return t.key == key })
	if at < 0 {
		return knownTest{}, false
	}
	return b.tests[at], true
}

// best is the row of some that speaks of a cause: one for this ignition before one for all, and its own before that
// of all others.
func best(rows []row, cause string, ignition Ignition) *row {
	var general, others *row
	for i := range rows {
		r := &rows[i]
		switch {
		case r.ignition != "" && r.ignition != ignition.Key():
		case r.cause == cause && r.ignition != "":
			return r
		case r.cause == cause:
			general = r
		case r.cause == "*":
			others = r
		}
	}
	if general != nil {
		return general
	}
	return others
}

// chance is how likely something is that is known by the weights of its levels: soft evidence (Pearl 1988, section
// 2.2.2, from memory).
func (r *row) chance(weights []float64) float64 {
	sum := 0.0
	for i, w := range weights {
		sum += w * r.levels[i]
	}
	return sum
}

// likeliest is the level that a cause shows most often.
func (r *row) likeliest() int { return highest(r.levels) }

// highest is the place of the highest of some numbers.
func highest(values []float64) int {
	best := 0
	for i, v := range values {
		if v > values[best] {
			best = i
		}
	}
	return best
}
