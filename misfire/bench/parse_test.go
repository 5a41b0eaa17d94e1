package bench

import (
	"math"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func kindOf(t testing.TB, key string) Kind {
	t.Helper()
	k, err := FindKind(key)
	require.NoError(t, err)
	return k
}

// Factors: NIST Special Publication 811 (2008), appendix B.8: 1 psi 6.894757 kPa, 1 in 25.4 mm, 1 ft 0.3048 m, 1 bar
// 100 kPa, 1 inHg (conventional) 3.386389 kPa, 1 kgf/cm2 98.0665 kPa.
func TestParse(t *testing.T) {
	for _, c := range []struct {
		kind, word string
		cylinder   int
		value      float64
		length     float64
	}{
		{"wire", "2=12.1kohm@60cm", 2, 12.1, 0.6},
		{"wire", "2 = 12.1 kOhm @ 2 ft", 2, 12.1, 0.6096},
		{"wire", "2=12,1kΩ@0,6m", 2, 12.1, 0.6},
		{"wire", "2=12100ohm@24in", 2, 12.1, 0.6096},
		{"wire", "2=12100 \u03a9@2'", 2, 12.1, 0.6096},
		{"wire", "2=12k@600mm", 2, 12, 0.6},
		{"wire", "2=1.5Mohm@60cm", 2, 1500, 0.6},
		{"wire", "2=1.5M\u03a9@60cm", 2, 1500, 0.6},
		{"wire", "2=1,25kohm@?", 2, 1.25, 0},
		{"wire", "2=0,625kohm@?", 2, 0.625, 0},
		{"wire", "2=OL", 2, math.Inf(1), 0},
		{"wire", "2=ol@60cm", 2, math.Inf(1), 0.6},
		{"wire", "2=\u221e", 2, math.Inf(1), 0},
		{"plug-gap", "1=0.044in", 1, 1.1176, 0},
		{"plug-gap", "1=1,1mm", 1, 1.1, 0},
		{"plug-insulation", "4=OL", 4, math.Inf(1), 0},
		{"coil-primary", "1=.7ohm", 1, 0.7, 0},
		{"compression", "1=100psi", 1, 689.4757, 0},
		{"compression", "1=12bar", 1, 1200, 0},
		{"compression", "1=1200kPa", 1, 1200, 0},
		{"compression", "1=1.2MPa", 1, 1200, 0},
		{"compression", "1=12 kg/cm2", 1, 1176.798, 0},
		{"leakdown", "3=12%", 3, 12, 0},
		{"vacuum", "20inHg", 0, 67.72778, 0},
		{"battery", "12,6 V", 0, 12.6, 0},
		{"ground", "150mV", 0, 0.15, 0},
		{"crank-speed", "1=200rpm", 1, 200, 0},
		{"balance", "1=-3rpm", 1, -3, 0},
	} {
		t.Run(c.kind+" "+c.word, func(t *testing.T) {
			e := Entry{Kind: kindOf(t, c.kind), Cylinders: 4}
			all, err := e.Parse(c.word)
			require.NoError(t, err)
			require.Len(t, all, 1)
			r := all[0]
			assert.Equal(t, c.cylinder, r.Cylinder)
			assert.Equal(t, c.value, r.Value)
			assert.Equal(t, c.length, r.Length)
			assert.Equal(t, e.Kind.Unit, r.Unit)
		})
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ kind, word, says string }{
		{"wire", "2=-5kohm@60cm", "cannot be below zero"},
		{"wire", "2=abc@60cm", `"abc" is no number with a unit`},
		{"wire", "2=1e99kohm@60cm", "is no number with a unit: write one as"},
		{"wire", "2=NaN@60cm", "is no number with a unit"},
		{"wire", "2=infkohm@60cm", "is no number with a unit"},
		{"wire", "2=0x1fkohm@60cm", "is no unit for this"},
		{"wire", "2=99999999kohm@60cm", "write OL for an open circuit"},
		{"wire", "2=" + strings.Repeat("9", 400) + "kohm@60cm", "is no number that a meter shows"},
		{"wire", "2=12kPa@60cm", `"kPa" is no unit for this: give it in ohm, kohm, Mohm`},
		{"wire", "2=12m@60cm", `"m" is no unit for this`},
		{"wire", "2=12mohm@60cm", "thousandths or millions"},
		{"wire", "2=12@60cm", "the unit of 12 is missing"},
		{"wire", "2=12kohm", "the length of the wire is missing"},
		{"wire", "2=12kohm@", "is no number with a unit"},
		{"wire", "2=12kohm@60", "the unit of 60 is missing"},
		{"wire", "2=12kohm@60km", `"km" is no unit for this`},
		{"wire", "2=12kohm@60m", "no plug wire is of that length"},
		{"wire", "2=12kohm@60kohm", "is no unit for this: give it in mm, cm, m, in, ft"},
		{"wire", "9=12kohm@60cm", "there is no cylinder 9: they are 1 to 4"},
		{"wire", "0=12kohm@60cm", "there is no cylinder 0"},
		{"wire", "-1=12kohm@60cm", "there is no cylinder -1"},
		{"wire", "two=12kohm@60cm", `"two" is no number of a cylinder`},
		{"wire", "12kohm@60cm", "does not tell the cylinder"},
		{"wire", "2=1,200kohm@60cm", "could be 1.200 or 1200"},
		{"wire", "2=1.200,5kohm@60cm", "is no number with a unit"},
		{"wire", "2=1 200kohm@60cm", "is no number with a unit"},
		{"plug-gap", "2=OL", "cannot be open"},
		{"plug-gap", "2=1.1mm@60cm", "only a wire has a length"},
		{"compression", "2=99bar", ""},
		{"compression", "2=999bar", "check the unit"},
		{"leakdown", "2=101%", "no leak-down is like that"},
		{"battery", "2=12.6V", "is of the whole engine"},
		{"spark", "2=blue", "is no outcome of a spark test: begin with good, weak, intermittent, none"},
		{"spark", "2=", "spark test: say good"},
		{"plug-look", "2=" + strings.Repeat("a", 201), "shorten it"},
	} {
		t.Run(c.kind+" "+c.word, func(t *testing.T) {
			e := Entry{Kind: kindOf(t, c.kind), Cylinders: 4}
			r, err := e.Parse(c.word)
			if c.says == "" {
				require.NoError(t, err)
				return
			}
			require.Error(t, err)
			assert.Empty(t, r)
			assert.Contains(t, err.Error(), c.says)
			assert.NotContains(t, err.Error(), "\n")
			assert.Less(t, len(err.Error()), 250)
		})
	}
}

func TestUsualUnitAndLength(t *testing.T) {
	e := Entry{Kind: kindOf(t, "wire"), Usual: true, Length: 0.6}
	r, err := e.Value(3, "12")
	require.NoError(t, err)
	assert.Equal(t, 12.0, r[0].Value)
	assert.Equal(t, 0.6, r[0].Length)
	r, err = e.Value(3, "900ohm@30cm")
	require.NoError(t, err)
	assert.Equal(t, 0.9, r[0].Value)
	assert.Equal(t, 0.3, r[0].Length)
	e = Entry{Kind: kindOf(t, "wire"), Unmeasured: true}
	r, err = e.Value(3, "12kohm")
	require.NoError(t, err)
	assert.Zero(t, r[0].Length)
}

func TestVariant(t *testing.T) {
	k := kindOf(t, "injector")
	v, err := k.ParseVariant("Direct")
	require.NoError(t, err)
	assert.Equal(t, Direct, v)
	_, err = k.ParseVariant("resistor")
	assert.ErrorContains(t, err, "choose from high-impedance, low-impedance, direct")
	wire := kindOf(t, "wire")
	_, err = wire.ParseVariant("direct")
	assert.ErrorContains(t, err, "there are no variants of plug wire")
	e := Entry{Kind: wire, Variant: Direct}
	_, err = e.Parse("1=OL")
	assert.ErrorContains(t, err, "there are no variants of plug wire")
}

func TestParseMaker(t *testing.T) {
	inf := math.Inf(1)
	for _, c := range []struct {
		kind, text string
		want       Range
	}{
		{"wire", "4-12kohm", Range{Low: 4, High: 12}},
		{"wire", "4 - 12 kohm", Range{Low: 4, High: 12}},
		{"wire", "4000ohm-12kohm", Range{Low: 4, High: 12}},
		{"wire", "4..12 kohm", Range{Low: 4, High: 12}},
		{"wire", "4 to 12kohm", Range{Low: 4, High: 12}},
		{"wire", "4\u201312 k\u03a9", Range{Low: 4, High: 12}},
		{"wire", "4,5-12,5kohm", Range{Low: 4.5, High: 12.5}},
		{"wire", "max 12kohm", Range{Low: -inf, High: 12}},
		{"wire", "<12kohm", Range{Low: -inf, High: 12}},
		{"wire", "10kohm+-20%", Range{Low: 8, High: 12}},
		{"wire", "10 kohm \u00b1 2 kohm", Range{Low: 8, High: 12}},
		{"wire", "10+-2kohm", Range{Low: 8, High: 12}},
		{"wire", "10kohm+/-20%", Range{Low: 8, High: 12}},
		{"wire", "max 6.096kohm/ft", Range{Low: -inf, High: 20, PerLength: true, Typed: "ft"}},
		{"wire", "3.048-6.096kohm/ft", Range{Low: 10, High: 20, PerLength: true, Typed: "ft"}},
		{"wire", "9-23kohm/m", Range{Low: 9, High: 23, PerLength: true, Typed: "m"}},
		{"compression", "min 10bar", Range{Low: 1000, High: inf}},
		{"compression", ">=1000kPa", Range{Low: 1000, High: inf}},
		{"compression", "10-14 bar", Range{Low: 1000, High: 1400}},
		{"compression", "max 14 kg/cm2", Range{Low: -inf, High: 1372.931}},
		{"plug-gap", "1.0-1.1mm", Range{Low: 1, High: 1.1}},
		{"plug-gap", "1.1mm", Range{Low: 1.05, High: 1.15}},
		{"leakdown", "max 15%", Range{Low: -inf, High: 15}},
		{"leakdown", "10%+-5%", Range{Low: 5, High: 15}},
	} {
		t.Run(c.kind+" "+c.text, func(t *testing.T) {
			k := kindOf(t, c.kind)
			got, err := k.ParseMaker(c.text)
			require.NoError(t, err)
			assert.InDelta(t, c.want.Low, got.Low, 1e-9)
			assert.InDelta(t, c.want.High, got.High, 1e-9)
			assert.Equal(t, c.want.PerLength, got.PerLength)
		})
	}
	for _, c := range []struct{ kind, text, says string }{
		{"wire", "", "write a maker's figure as 4-12kohm"},
		{"wire", "good", "write a maker's figure as"},
		{"wire", "12kohm", "is one figure, no range"},
		{"wire", "12-4kohm", "ends below its beginning"},
		{"wire", "4-12", "the unit of 4 is missing"},
		{"wire", "4-12V", "is no unit for this"},
		{"wire", "4-12kohm/kohm", "write a maker's figure as"},
		{"wire", "max", "write a maker's figure as"},
		{"wire", "4-5-6kohm", "write a maker's figure as"},
		{"wire", "NaN-12kohm", "write a maker's figure as"},
		{"wire", "4-1e9kohm", "write a maker's figure as"},
		{"wire", "4kohm+-", "is no unit for this"},
		{"spark", "good", "is told in words"},
	} {
		t.Run("not "+c.text, func(t *testing.T) {
			k := kindOf(t, c.kind)
			_, err := k.ParseMaker(c.text)
			require.Error(t, err)
			assert.Contains(t, err.Error(), c.says)
			assert.NotContains(t, err.Error(), "\n")
		})
	}
}

const goodTable = `# measured 3 May
kind,cylinder,value,unit,length,variant,maker
wire,1,11.8kohm,,60cm,,4-14kohm
wire,2,OL,kohm,,,
wire,3,"12,4",kohm,?,,
injector,1,2.2,ohm,,direct,
battery,,12.6 V,,,,
spark,2,"intermittent, with load",,,,
`

func TestReadTable(t *testing.T) {
	got, err := ReadTable(strings.NewReader("\ufeff"+strings.ReplaceAll(goodTable, "\n", "\r\n")), 4)
	require.NoError(t, err)
	require.Len(t, got, 6)
	assert.Equal(t, Reading{Part: Wire, Quantity: Resistance, Cylinder: 1, Value: 11.8, Unit: "kohm", Typed: "kohm", TypedLength: "cm", Length: 0.6, Maker: Range{Low: 4, High: 14}}, got[0])
	assert.True(t, got[1].Open())
	assert.Equal(t, Reading{Part: Wire, Quantity: Resistance, Cylinder: 3, Value: 12.4, Unit: "kohm", Typed: "kohm"}, got[2])
	assert.Equal(t, Direct, got[3].Variant)
	assert.Equal(t, 12.6, got[4].Value)
	assert.Equal(t, "intermittent, with load", got[5].Text)

	got, err = ReadTable(strings.NewReader("value;kind;cylinder\n12,5V;battery;\n1,1mm;plug-gap;3\n"), 0)
	require.NoError(t, err)
	assert.Equal(t, 12.5, got[0].Value)
	assert.Equal(t, 3, got[1].Cylinder)
}

func TestReadTableRefuses(t *testing.T) {
	const head = "kind,cylinder,value,unit,length,variant,maker\n"
	for _, c := range []struct{ table, says string }{
		{"", "the table is empty"},
		{"# nothing\n", "the table is empty"},
		{head, "there is no reading in the table"},
		{"kind,value,colour\n", `line 1: there is no column "colour"`},
		{"kind,kind\n", "line 1: the column kind is named twice"},
		{"kind,cylinder\n", "line 1: the column value is missing"},
		{head + "wire,1,12kohm,,60cm,,\nwire,9,12kohm,,60cm,,\n", "line 3: there is no cylinder 9: they are 1 to 4"},
		{head + "# a word\nwire,1,-12kohm,,60cm,,\n", "line 3: \"-12kohm\": plug wire cannot be below zero"},
		{head + "wire,1,12kohm\n", "line 2: wrong number of fields"},
		{head + "wire,1,\"12kohm,,60cm,,\n", "line 2: extraneous or missing \" in quoted-field"},
		{head + "wires,1,12kohm,,60cm,,\n", `line 2: there is no kind of reading "wires"`},
		{head + "wire,1,12kohm,,,,\n", "line 2: the length of the wire is missing: add"},
		{head + "wire,1,12kohm,kohm,60cm,,\n", "line 2: \"12kohm\" has its unit already"},
		{head + "wire,1,12kohm@60cm,,,,\n", "line 2: \"12kohm@60cm\": a length has a column of its own"},
		{head + "wire,,12kohm,,60cm,,\n", "line 2: the cylinder of the plug wire is missing"},
		{head + "wire,1,12kohm,,60cm,blue,\n", "line 2: there are no variants"},
		{head + "wire,1,12kohm,,60cm,,12kohm\n", "line 2: \"12kohm\" is one figure, no range"},
		{head + "plug-gap,1,1mm,,60cm,,\n", "line 2: \"60cm\": only a wire has a length"},
		{head + "spark,1,good,V,,,\n", "line 2: spark test is told in words"},
		{head + "spark,1,good,,60cm,,\n", "line 2: \"60cm\": only a wire has a length"},
		{head + "battery,2,12.6V,,,,\n", "line 2: battery at rest is of the whole engine"},
		{strings.Repeat("#\n", 600000), "longer than a megabyte"},
	} {
		got, err := ReadTable(strings.NewReader(c.table), 4)
		require.Error(t, err, c.says)
		assert.Nil(t, got)
		assert.Contains(t, err.Error(), c.says)
		assert.NotContains(t, err.Error(), "\n")
	}
	_, err := ReadTable(iotestErr{}, 4)
	assert.ErrorIs(t, err, os.ErrPermission)
}

type iotestErr struct{}

func (iotestErr) Read([]byte) (int, error) { return 0, os.ErrPermission }

// What is taken in must be a value of the kind, within what a meter shows, and can be judged.
func requireSound(t *testing.T, r Reading, cylinders int) {
	t.Helper()
	k, known := KindOf(r.Part, r.Quantity)
	require.True(t, known)
	require.Equal(t, k.Unit, r.Unit)
	require.LessOrEqual(t, r.Cylinder, cylinders)
	require.Equal(t, k.Each, r.Cylinder > 0)
	switch {
	case k.dimension == words:
		require.True(t, math.IsNaN(r.Value))
		require.NotEmpty(t, r.Text)
		require.True(t, utf8.ValidString(r.Text))
	case r.Open():
		require.True(t, k.open)
	default:
		require.True(t, r.Value >= k.least && r.Value <= k.most)
	}
	require.True(t, r.Length == 0 || r.Part == Wire && r.Length >= shortest && r.Length <= longest)
	require.False(t, math.IsNaN(r.Maker.Low) || math.IsNaN(r.Maker.High))
	j := Judge([]Reading{r, r, r, r})
	require.Len(t, j, 4)
	require.NotEmpty(t, said(&j[3]))
}

func FuzzParse(f *testing.F) {
	for _, k := range Kinds() {
		for _, word := range []string{"2=12.1kohm@60cm", "12,6V", "2=OL", "1=1,200psi", "2=good", "2=-1rpm", "9=0x1p3ohm", "=\u221e@?", "1=\xff"} {
			f.Add(k.Key, word)
		}
	}
	f.Fuzz(func(t *testing.T, key, word string) {
		k, err := FindKind(key)
		if err != nil {
			return
		}
		e := Entry{Kind: k, Cylinders: 4}
		r, err := e.Parse(word)
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		for i := range r {
			requireSound(t, r[i], 4)
		}
	})
}

func FuzzMaker(f *testing.F) {
	for _, text := range []string{"4-12kohm", "max 7kohm/ft", "10kohm+-20%", "1.1mm", "min 900kPa", "4..5V", "\u2264 9 %"} {
		f.Add("wire", text)
		f.Add("compression", text)
		f.Add("plug-gap", text)
	}
	f.Fuzz(func(t *testing.T, key, text string) {
		k, err := FindKind(key)
		if err != nil {
			return
		}
		m, err := k.ParseMaker(text)
		if err != nil {
			require.NotContains(t, err.Error(), "\n")
			return
		}
		require.True(t, m.Told())
		require.LessOrEqual(t, m.Low, m.High)
	})
}

func FuzzTable(f *testing.F) {
	f.Add([]byte(goodTable))
	f.Add([]byte("value;kind;cylinder\n12,5V;battery;\n"))
	f.Add([]byte("kind,value\nspark,\"a\nb\"\n"))
	f.Fuzz(func(t *testing.T, table []byte) {
		all, err := ReadTable(strings.NewReader(string(table)), 4)
		if err != nil {
			require.Empty(t, all)
			require.NotContains(t, err.Error(), "\n")
			return
		}
		require.NotEmpty(t, all)
		for _, r := range all {
			requireSound(t, r, 4)
		}
	})
}
