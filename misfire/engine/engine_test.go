package engine_test

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire/engine"
)

// vectors are the published firing orders this table was made from, each row with its source.
func vectors(t *testing.T) []map[string]string {
	t.Helper()
	f, err := os.Open("../../testdata/vectors/engine-layouts.csv")
	require.NoError(t, err)
	defer f.Close()
	records, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	var rows []map[string]string
	for _, record := range records[1:] {
		row := make(map[string]string)
		for i, name := range records[0] {
			row[name] = record[i]
		}
		rows = append(rows, row)
	}
	return rows
}

func TestEveryPublishedLayoutIsThere(t *testing.T) {
	layouts := engine.Layouts()
	rows := vectors(t)
	require.Len(t, layouts, len(rows))
	for i, row := range rows {
		l := layouts[i]
		t.Run(l.Key, func(t *testing.T) {
			banks := row["bank1"]
			if row["bank2"] != "" {
				banks += " / " + row["bank2"]
			}
			assert.Equal(t, row["cylinders"], strconv.Itoa(l.Cylinders))
			assert.Equal(t, row["firing_order"], l.Row().Order)
			assert.Equal(t, banks, l.Row().Banks)
			assert.Equal(t, row["waste_spark_pairs"], l.Row().Pairs)
			assert.Equal(t, row["source"], l.Source)
		})
	}
}

// Textbook rule, written out by columns: the first half of the firing order over the second half.
func TestPairsFollowTheCompanionRule(t *testing.T) {
	for _, l := range engine.Layouts() {
		t.Run(l.Key, func(t *testing.T) {
			if l.Cylinders%2 == 1 {
				require.Empty(t, l.Pairs)
				return
			}
			top, bottom := l.FiringOrder[:l.Cylinders/2], l.FiringOrder[l.Cylinders/2:]
			require.Len(t, l.Pairs, len(top))
			for i := range top {
				assert.Equal(t, bottom[i], l.MateOf(top[i]))
				assert.Equal(t, top[i], l.MateOf(bottom[i]))
			}
			assert.ElementsMatch(t, l.Pairs, engine.Companions(l.FiringOrder))
		})
	}
}

// The shape before the last part of a key says how many cylinders there are, the last part is the order.
func TestKeysAreSystematic(t *testing.T) {
	for _, l := range engine.Layouts() {
		order := l.Row().Order
		if l.Cylinders < 10 {
			order = strings.ReplaceAll(order, "-", "")
		}
		shape, _, _ := strings.Cut(l.Key, "-")
		assert.Equal(t, strconv.Itoa(l.Cylinders), shape[1:], l.Key)
		assert.True(t, strings.HasSuffix(l.Key, "-"+order), l.Key)
		found, err := engine.Find(" " + strings.ToUpper(l.Key))
		require.NoError(t, err)
		assert.Equal(t, l, found)
	}
}

func TestBuiltInTableGivesNoWarning(t *testing.T) {
	f, err := os.Open("layouts.csv")
	require.NoError(t, err)
	defer f.Close()
	_, warnings, err := engine.Load(f)
	require.NoError(t, err)
	assert.Empty(t, warnings)
}

func find(t *testing.T, key string) engine.Layout {
	t.Helper()
	l, err := engine.Find(key)
	require.NoError(t, err)
	return l
}

func TestInlineFour(t *testing.T) {
	l := find(t, "i4-1342")
	assert.Equal(t, 1, l.BankOf(4))
	assert.Equal(t, 0, l.BankOf(5))
	assert.Equal(t, 4, l.MateOf(1), "1 and 4 share a coil: textbook")
	assert.Equal(t, 3, l.MateOf(2), "2 and 3 share a coil: textbook")
	assert.Equal(t, 0, l.MateOf(5))
	assert.Equal(t, []int{2}, l.BlockNeighbours(1))
	assert.Equal(t, []int{1, 3}, l.BlockNeighbours(2))
	assert.Equal(t, []int{3}, l.BlockNeighbours(4))
	assert.Empty(t, l.BlockNeighbours(0))
	before, after := l.FiringNeighbours(2)
	assert.Equal(t, []int{4, 1}, []int{before, after})
	assert.Equal(t, []int{0, 1, 3, 4, 2, 0}, []int{l.CylinderOf(0), l.CylinderOf(1), l.CylinderOf(2), l.CylinderOf(3), l.CylinderOf(4), l.CylinderOf(5)})
}

func TestVSixNeighboursStandOnOneBank(t *testing.T) {
	l := find(t, "v6-odd-even-123456")
	assert.Equal(t, 1, l.BankOf(5))
	assert.Equal(t, 2, l.BankOf(6))
	assert.Equal(t, []int{1, 5}, l.BlockNeighbours(3))
	assert.Equal(t, []int{4}, l.BlockNeighbours(2))
	before, after := l.FiringNeighbours(1)
	assert.Equal(t, []int{6, 2}, []int{before, after})
}

func TestPlain(t *testing.T) {
	l, err := engine.Plain(6)
	require.NoError(t, err)
	assert.Equal(t, 6, l.Cylinders)
	assert.Zero(t, l.BankOf(1))
	assert.Zero(t, l.MateOf(1))
	assert.Zero(t, l.CylinderOf(1))
	assert.Empty(t, l.BlockNeighbours(1))
	before, after := l.FiringNeighbours(1)
	assert.Zero(t, before+after)
	assert.Equal(t, engine.Row{Key: "6"}, l.Row())
	for _, n := range []int{-1, 0, 17} {
		_, err := engine.Plain(n)
		assert.ErrorContains(t, err, "from 1 to 16")
	}
}

func TestFindSuggests(t *testing.T) {
	_, err := engine.Find("i4-1324")
	assert.EqualError(t, err, `no engine layout is called "i4-1324": those that begin with i4 are i4-1342, i4-1243`)
	_, err = engine.Find("w16")
	assert.ErrorContains(t, err, "see the list of layouts")
	_, err = engine.Find("")
	assert.Error(t, err)
}

func TestCompanionsOfOddEnginesAreNone(t *testing.T) {
	assert.Nil(t, engine.Companions([]int{1, 2, 4, 5, 3}))
	assert.Empty(t, engine.Companions(nil))
}

func TestMap(t *testing.T) {
	four := find(t, "i4-1342")
	m, err := engine.FromFiringOrder(four)
	require.NoError(t, err)
	assert.Equal(t, "1,3,4,2", m.String())
	assert.False(t, m.IsIdentity())
	assert.Equal(t, 4, m.Len())
	// An owner pulled coils one by one and saw monitor A3 move for cylinder 3, A4 for 4, A5 for 2 (public issue
	// thread, January 2025).
	assert.Equal(t, []int{1, 3, 4, 2}, []int{m.Cylinder(1), m.Cylinder(2), m.Cylinder(3), m.Cylinder(4)})
	assert.Equal(t, []int{1, 4, 2, 3}, []int{m.Position(1), m.Position(2), m.Position(3), m.Position(4)})
	assert.Zero(t, m.Cylinder(0)+m.Cylinder(5)+m.Position(0)+m.Position(5))

	parsed, err := engine.ParseMap(" 1, 3 ,4-2", 4)
	require.NoError(t, err)
	assert.Equal(t, m, parsed)

	var back engine.Map
	text, err := json.Marshal(m)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(text, &back))
	assert.Equal(t, m, back)
	assert.Error(t, back.UnmarshalText([]byte("1,1")))
	require.NoError(t, back.UnmarshalText(nil))
	assert.Equal(t, engine.Map{}, back)

	plain, err := engine.Plain(4)
	require.NoError(t, err)
	_, err = engine.FromFiringOrder(plain)
	assert.ErrorContains(t, err, "name its layout")
}

func TestIdentity(t *testing.T) {
	m := engine.Identity(6)
	assert.True(t, m.IsIdentity())
	assert.Equal(t, "1,2,3,4,5,6", m.String())
	assert.Equal(t, 16, engine.Identity(99).Len())
	assert.Equal(t, engine.Map{}, engine.Identity(-3))
}

func TestParseMapFaults(t *testing.T) {
	for text, want := range map[string]string{
		"":                           "empty: write every cylinder once",
		"1,3,4":                      "cylinder 4 is not one of 1 to 3",
		"1,3,2":                      "names 3 cylinders, the engine has 4",
		"1,3,3,2":                    "cylinder 3 stands twice",
		"1,3,x,2":                    `"x" is no cylinder number`,
		"0,1,2,3":                    "cylinder 0 is not one of 1 to 4",
		strings.Repeat("1,", 17):     "no more than 16",
		"1,99999999999999999999,2,3": "is no cylinder number",
	} {
		_, err := engine.ParseMap(text, 4)
		require.ErrorContains(t, err, want, text)
		assert.NotContains(t, err.Error(), "\n")
	}
}

func TestLoadAUsersTable(t *testing.T) {
	layouts, warnings, err := engine.Load(strings.NewReader("\ufeff# engines of our shop\n" +
		"name,key,firing_order,banks,pairs,note\n" +
		"V6 of the blue van,my-v6,1-4-2-5-3-6,1 2 3/4 5 6,1+5 2+6 4+3,\"label, under the bonnet\"\n" +
		"# and a boat\n" +
		",twin,1 2,,,\n"))
	require.NoError(t, err)
	assert.Empty(t, warnings)
	require.Len(t, layouts, 2)
	assert.Equal(t, engine.Layout{
		Key: "my-v6", Name: "V6 of the blue van", Cylinders: 6, FiringOrder: []int{1, 4, 2, 5, 3, 6},
		Banks: [][]int{{1, 2, 3}, {4, 5, 6}}, Pairs: [][2]int{{1, 5}, {2, 6}, {4, 3}}, Note: "label, under the bonnet",
	}, layouts[0])
	assert.Equal(t, "twin", layouts[1].Name, "a key does for a name")

	found, err := engine.FindIn(append(layouts, engine.Layouts()...), "twin")
	require.NoError(t, err)
	assert.Equal(t, 2, found.Cylinders)
}

func TestLoadWarnsOfUnlikelyPairs(t *testing.T) {
	_, warnings, err := engine.Load(strings.NewReader("key,firing_order,pairs\na,1-3-4-2,1+4 2+3\nb,1-3-4-2,1+3 2+4\nc,1-2-3,1+2\n"))
	require.NoError(t, err)
	require.Len(t, warnings, 2)
	assert.Equal(t, "line 3, pairs: 1+3 2+4, but the firing order makes the companions 1+4 2+3: check both (an odd-firing engine may differ)", warnings[0].Error())
	assert.ErrorContains(t, warnings[1], "makes the companions none")
}

func TestLoadFaults(t *testing.T) {
	const head = "key,cylinders,firing_order,banks,pairs\n"
	for table, want := range map[string]string{
		"":                                  "the table of engine layouts is empty",
		head:                                "names no engine",
		"key;firing_order\n":                "line 1: columns are parted by semicolons",
		"key,firing_order,colour\n":         `line 1: unknown column "colour"`,
		"key,firing_order,key\n":            `line 1: column "key" stands twice`,
		"key,banks\n":                       `line 1: no column "firing_order"`,
		"firing_order\n":                    `line 1: no column "key"`,
		head + "a,4,1-3-4-2\n":              "line 2: 3 fields where the first line names 5 columns",
		head + "a,4,\"1-3-4-2,,\n":          "line 2",
		head + "4,4,1-3-4-2,,\n":            "line 2, key",
		head + "my six,4,1-3-4-2,,\n":       "line 2, key",
		head + "a,2,1-2,,\nA,2,1-2,,\n":     `line 3, key: "a" is taken by line 2`,
		head + "a,4,,,\n":                   "line 2, firing_order: empty",
		head + "a,4,1-3-4-4,,\n":            "line 2, firing_order: cylinder 4 stands twice",
		head + "a,4,1-3-5-2,,\n":            "line 2, firing_order: cylinder 5 is not one of 1 to 4",
		head + "a,4,3-4-2-1,,\n":            "line 2, firing_order: starts with cylinder 3: turn it round",
		head + "a,6,1-3-4-2,,\n":            `line 2, cylinders: "6", but the firing order has 4`,
		head + "a,4,1-3-4-2,1 2 / 3,\n":     "line 2, banks: cylinder 4 has no bank",
		head + "a,4,1-3-4-2,1 2 / 2 3 4,\n": "line 2, banks: cylinder 2 stands twice",
		head + "a,4,1-3-4-2,2 3 / 1 4,\n":   "line 2, banks: cylinder 1 must stand in the first bank",
		head + "a,4,1-3-4-2,1 2 3 4 /,\n":   "line 2, banks: bank 2 is empty",
		head + "a,4,1-3-4-2,1 2 3 x,\n":     `line 2, banks: "x" is no cylinder number`,
		head + "a,4,1-3-4-2,,1-4\n":         `line 2, pairs: "1-4" is no pair`,
		head + "a,4,1-3-4-2,,1+1\n":         "line 2, pairs: cylinder 1 stands twice",
		head + "a,4,1-3-4-2,,1+4 4+2\n":     "line 2, pairs: cylinder 4 stands twice",
		head + "a,4,1-3-4-2,,1+9\n":         "line 2, pairs: cylinder 9 is not one of 1 to 4",
		head + strings.Repeat("#", 1<<20):   "larger than 1 MiB",
	} {
		_, _, err := engine.Load(strings.NewReader(table))
		require.ErrorContains(t, err, want, "%.60q", table)
		assert.NotContains(t, err.Error(), "\n")
		var fault *engine.Fault
		assert.ErrorAs(t, err, &fault)
	}
}

type broken struct{}

func (broken) Read([]byte) (int, error) { return 0, fmt.Errorf("the disk is gone") }

func TestLoadPassesReadErrorsOn(t *testing.T) {
	_, _, err := engine.Load(broken{})
	assert.EqualError(t, err, "reading the table of engine layouts: the disk is gone")
}

// Whatever is loaded can be written as a table and loaded again.
func FuzzLoad(f *testing.F) {
	f.Add("key,firing_order,banks,pairs\na,1-3-4-2,1 2 3 4,1+4 2+3\n")
	f.Add("key;x\n")
	f.Fuzz(func(t *testing.T, table string) {
		layouts, _, err := engine.Load(strings.NewReader(table))
		if err != nil {
			return
		}
		var again strings.Builder
		w := csv.NewWriter(&again)
		require.NoError(t, w.Write([]string{"key", "name", "firing_order", "banks", "pairs", "note", "source"}))
		for _, l := range layouts {
			row := l.Row()
			require.NoError(t, w.Write([]string{row.Key, row.Name, row.Order, row.Banks, row.Pairs, row.Note, l.Source}))
		}
		w.Flush()
		back, _, err := engine.Load(strings.NewReader(again.String()))
		require.NoError(t, err)
		require.Equal(t, layouts, back)
	})
}
