package bench

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// typed are readings of one kind as they are typed.
func typed(t testing.TB, kind string, words ...string) (all []Reading) {
	t.Helper()
	for _, word := range words {
		e := Entry{Kind: kindOf(t, kind), Cylinders: 8}
		r, err := e.Parse(word)
		require.NoError(t, err)
		all = append(all, r...)
	}
	return all
}

func marks(all []Judgement) (m []Mark) {
	for _, j := range all {
		m = append(m, j.Mark)
	}
	return m
}

// The complaint that the product is for: the wire of cylinder 2 is broken, the others are about right for 2 ft. Typical
// figures: common practice, no source.
func TestOpenWireAmongGoodOnes(t *testing.T) {
	all := Judge(typed(t, "wire", "1=11.8kohm@2ft", "2=OL@2ft", "3=12.3kohm@2ft", "4=14kohm@28in"))
	assert.Equal(t, []Mark{Good, Bad, Good, Good}, marks(all))
	assert.Equal(t, ruleWireOpen, all[1].All[0].Rule)
	assert.Equal(t, OpenWire, all[1].All[0].Hint)
	assert.Equal(t, []Figure{number(all[3].All[0].About[0].Low, "kohm/ft"), number(7, "kohm/ft"), number(14, "kohm")}, all[3].All[0].About, "about 14 kohm is typical of this length")
	assert.Contains(t, said(&all[0]), InStep.String(), "the open one spoils no comparison")
}

// A wire inside every band still stands out from its siblings; compared by length, a long one does not.
func TestWireStandsOutInsideTheBand(t *testing.T) {
	all := Judge(typed(t, "wire", "1=4kohm@60cm", "2=4.1kohm@60cm", "3=6.5kohm@60cm", "4=8kohm@120cm"))
	assert.Equal(t, []Mark{Good, Good, Suspect, Good}, marks(all))
	assert.Equal(t, ruleWireSibling, all[2].All[0].Rule)

	unmeasured := Judge(typed(t, "wire", "1=4kohm@?", "2=4.1kohm@?", "3=6.5kohm@?", "4=4kohm@60cm"))
	assert.Equal(t, []Mark{Good, Good, Suspect, Good}, marks(unmeasured))
	assert.Equal(t, LengthsUnknown, unmeasured[2].All[0].Hint)
}

// Spiral-wound cores read well below the band without being faulty (misfire rules, bench checks).
func TestSpiralWoundSet(t *testing.T) {
	all := Judge(typed(t, "wire", "1=1.1kohm@60cm", "2=1.15kohm@60cm", "3=0.9kohm@50cm", "4=1.4kohm@75cm"))
	assert.Equal(t, []Mark{Good, Good, Good, Good}, marks(all))
	assert.Equal(t, WireSpiralSet, all[0].All[0].Says)

	odd := Judge(typed(t, "wire", "1=1.1kohm@60cm", "2=1.15kohm@60cm", "3=1.1kohm@60cm", "4=2.2kohm@60cm"))
	assert.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(odd))

	one := Judge(typed(t, "wire", "1=12kohm@60cm", "2=12kohm@60cm", "3=12kohm@60cm", "4=1.1kohm@60cm"))
	assert.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(one))
	assert.Contains(t, said(&one[3]), WireOtherKind.String())

	assert.Equal(t, []Mark{CannotSay}, marks(Judge(typed(t, "wire", "1=1.1kohm@60cm"))))
}

func TestTwoWiresDiffer(t *testing.T) {
	all := Judge(typed(t, "wire", "1=4kohm@60cm", "2=11kohm@60cm"))
	assert.Equal(t, []Mark{Suspect, Suspect}, marks(all))
	assert.Equal(t, TwoDiffer, all[0].All[0].Says)
}

// The maker's figure wins over every band, whichever way it speaks; siblings are compared all the same.
func TestMakerWins(t *testing.T) {
	with := func(kind, maker string, words ...string) []Judgement {
		k := kindOf(t, kind)
		m, err := k.ParseMaker(maker)
		require.NoError(t, err)
		all := typed(t, kind, words...)
		for i := range all {
			all[i].Maker = m
		}
		return Judge(all)
	}
	for _, c := range []struct {
		kind, maker, word string
		want              Mark
	}{
		{"wire", "20-30kohm", "1=25kohm@60cm", Good},
		{"wire", "4-8kohm", "1=10kohm@60cm", Bad},
		{"wire", "0.5-2kohm", "1=1kohm@60cm", Good},
		{"wire", "max 7kohm/ft", "1=14kohm@2ft", Good},
		{"wire", "max 7kohm/ft", "1=14.1kohm@2ft", Bad},
		{"wire", "max 7kohm/ft", "1=14kohm@?", CannotSay},
		{"wire", "4-8kohm", "1=OL", Bad},
		{"plug-resistance", "8-12kohm", "1=10kohm", Good},
		{"plug-insulation", "min 20Mohm", "1=15Mohm", Bad},
		{"plug-gap", "1.6-1.8mm", "1=1.7mm", Good},
		{"plug-gap", "1-1.1mm", "1=0.9mm", Bad},
		{"coil-primary", "2.5-3ohm", "1=2.7ohm", Good},
		{"coil-secondary", "30-40kohm", "1=35kohm", Good},
		{"injector", "20-24ohm", "1=22ohm", Good},
		{"injector", "11-13ohm", "1=14ohm", Bad},
		{"injector-drop", "20-30kPa", "1=10kPa", Bad},
		{"compression", "min 600kPa", "1=650kPa", Good},
		{"compression", "min 1000kPa", "1=950kPa", Bad},
		{"leakdown", "max 25%", "1=24%", Good},
		{"fuel-pressure", "500-600kPa", "550kPa", Good},
		{"battery", "12.8-13.2V", "13V", Good},
		{"charging", "12.5-15V", "12.6V", Good},
	} {
		t.Run(c.kind+" "+c.maker+" "+c.word, func(t *testing.T) {
			j := with(c.kind, c.maker, c.word)
			assert.Equal(t, []Mark{c.want}, marks(j), "%v", said(&j[0]))
			if j[0].Reading.Open() {
				return
			}
			assert.Equal(t, MakerRule, j[0].All[0].Rule)
		})
	}
	odd := with("wire", "3-20kohm", "1=6kohm@60cm", "2=6kohm@60cm", "3=6kohm@60cm", "4=12kohm@60cm")
	assert.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(odd))
}

// A reading taken again stands for its cylinder; the earlier one compares with nothing. What was said of a set changes
// as others come.
func TestRedone(t *testing.T) {
	first := typed(t, "wire", "1=6kohm@60cm", "2=6kohm@60cm", "3=6kohm@60cm", "4=12kohm@60cm")
	all := Judge(first)
	require.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(all))
	all = Judge(append(first, typed(t, "wire", "4=6.2kohm@60cm")...))
	assert.Equal(t, []Mark{Good, Good, Good, Good, Good}, marks(all))
	var redone []bool
	for _, j := range all {
		redone = append(redone, j.Redone)
	}
	assert.Equal(t, []bool{false, false, false, true, false}, redone)

	alone := Judge(first[3:])
	assert.Equal(t, []Mark{Good}, marks(alone), "the same reading before its siblings came")
}

// A tester's spark does not clear a wire that reads open.
func TestSparkBesideAnOpenWire(t *testing.T) {
	all := Judge(append(typed(t, "wire", "2=OL"), typed(t, "spark", "1=good", "2=good, blue", "3=Weak", "4=intermittent when warm")...))
	assert.Equal(t, []Mark{Bad, Good, CannotSay, Suspect, Bad}, marks(all))
	assert.Equal(t, SparkGood, all[1].All[0].Says)
	assert.Equal(t, SparkOverBreak, all[2].All[0].Says)
	assert.Equal(t, []Mark{Bad}, marks(Judge(typed(t, "spark", "1=none"))))
}

func TestPlugLook(t *testing.T) {
	all := Judge(typed(t, "plug-look", "1=normal", "2=Cracked: insulator", "3=bluish", "4=not cracked"))
	assert.Equal(t, []Mark{Good, Bad, CannotSay, CannotSay}, marks(all))
	for _, l := range plugLooks() {
		j := Judge(typed(t, "plug-look", "1="+l.word))
		assert.Equal(t, l.mark, j[0].Mark)
		assert.Equal(t, l.says, j[0].All[0].Says)
	}
}

func TestCoilsThatAllReadOpen(t *testing.T) {
	drivers := Judge(typed(t, "coil-primary", "1=OL", "2=OL", "3=OL"))
	assert.Equal(t, []Mark{CannotSay, CannotSay, CannotSay}, marks(drivers))
	diodes := Judge(typed(t, "coil-secondary", "1=OL", "2=OL"))
	assert.Equal(t, []Mark{CannotSay, CannotSay}, marks(diodes))
	one := Judge(typed(t, "coil-secondary", "1=OL", "2=9kohm"))
	assert.Equal(t, []Mark{Bad, Good}, marks(one))
	high := Judge(typed(t, "coil-secondary", "1=24kohm", "2=25kohm", "3=24.5kohm"))
	assert.Equal(t, []Mark{Good, Good, Good}, marks(high), "outside the usual band and alike")
}

func TestInjectorTypes(t *testing.T) {
	assert.Equal(t, []Mark{CannotSay}, marks(Judge(typed(t, "injector", "1=2.2ohm"))))
	ports := typed(t, "injector", "1=14ohm", "2=14.2ohm", "3=14.1ohm")
	direct := typed(t, "injector", "1=1.5ohm", "2=1.6ohm", "3=1.5ohm", "4=2.9ohm")
	for i := range direct {
		direct[i].Variant = Direct
	}
	all := Judge(append(ports, direct...))
	assert.Equal(t, []Mark{Good, Good, Good, Good, Good, Good, Suspect}, marks(all), "port and direct injectors are no siblings")
	assert.Equal(t, ruleOutlier, all[6].All[0].Rule)
	assert.False(t, all[0].Redone)
}

func TestOilTest(t *testing.T) {
	dry := typed(t, "compression", "1=1200kPa", "2=600kPa")
	all := Judge(append(dry, typed(t, "compression-oil", "1=1250kPa", "2=1000kPa", "3=900kPa")...))
	assert.Equal(t, []Mark{Good, Bad, Good, Bad, CannotSay}, marks(all))
	assert.InDelta(t, 66.7, all[3].All[0].About[0].Low, 0.05)
	assert.Equal(t, OilRings, all[3].All[0].Says)
}

// What the balance test's limits leave open is not called weak for sure.
func TestBalanceWithLimits(t *testing.T) {
	all := typed(t, "balance", "1=100rpm", "2=100rpm", "3=100rpm", "4=45rpm")
	all[3].Margin = 10
	assert.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(Judge(all)))
	all[3].Margin = 4
	assert.Equal(t, []Mark{Good, Good, Good, Bad}, marks(Judge(all)))
	assert.Equal(t, []Mark{CannotSay, CannotSay}, marks(Judge(all[:2])))
}

// NIST/SEMATECH e-Handbook 1.3.5.17.3 (Grubbs' test), its mass spectrometer data: 245.57 alone is an outlier. The
// modified z-score and its 3.5 are those of section 1.3.5.17. From memory.
func TestRobustOutlier(t *testing.T) {
	data := []float64{199.31, 199.53, 200.19, 200.82, 201.92, 201.95, 202.18, 245.57}
	for _, v := range data {
		z := robustZ(data, v, 0)
		assert.Equal(t, v == 245.57, math.Abs(z) > 3.5, "%v: %v", v, z)
	}
	assert.InDelta(t, 0.6745*(245.57-201.37)/0.995, robustZ(data, 245.57, 0), 1e-6, "by hand: median 201.37, MAD 0.995")
	assert.Zero(t, robustZ([]float64{0, 0, 0}, 0, 0))

	plugs := Judge(typed(t, "plug-resistance", "1=4.8kohm", "2=5kohm", "3=5.1kohm", "4=7.2kohm"))
	assert.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(plugs))
	assert.Equal(t, ruleOutlier, plugs[3].All[0].Rule)
	even := Judge(typed(t, "plug-resistance", "1=5kohm", "2=5kohm", "3=5kohm", "4=5.4kohm"))
	assert.Equal(t, Good, even[3].Mark, "a meter's own spread is no outlier")
}

func TestUnknownReadings(t *testing.T) {
	all := Judge([]Reading{
		{Part: "gearbox", Quantity: "slip", Value: 3},
		{Part: Wire, Quantity: Resistance, Cylinder: 1, Value: math.NaN(), Text: "burnt"},
	})
	assert.Equal(t, []Mark{CannotSay, CannotSay}, marks(all))
	assert.Empty(t, Judge(nil))
}

// What the journal can hold gives the reading back.
func TestRecord(t *testing.T) {
	k := kindOf(t, "wire")
	maker, err := k.ParseMaker("max 7kohm/ft")
	require.NoError(t, err)
	whole := []Reading{
		{Part: Wire, Quantity: Resistance, Unit: "kohm", Cylinder: 2, Value: math.Inf(1), Length: 0.6, Maker: maker},
		{Part: Balance, Quantity: Drop, Unit: "rpm", Cylinder: 1, Value: 93.5, Margin: 7.5},
		{Part: Injector, Quantity: Resistance, Unit: "ohm", Cylinder: 3, Value: 1.5, Variant: Direct, Maker: Range{Low: 1, High: 2}},
		{Part: Spark, Quantity: Outcome, Cylinder: 3, Value: math.NaN(), Text: "weak"},
	}
	for i, j := range Judge(whole) {
		data, err := json.Marshal(j.Record())
		require.NoError(t, err)
		bare := Reading{Part: j.Reading.Part, Quantity: j.Reading.Quantity, Unit: j.Reading.Unit, Cylinder: j.Reading.Cylinder}
		bare.Value, bare.Text = j.Reading.Columns()
		assert.False(t, math.IsInf(bare.Value, 0), "no column holds it")
		bare.Restore(data)
		if math.IsNaN(whole[i].Value) {
			require.True(t, math.IsNaN(bare.Value))
			bare.Value, whole[i].Value = 0, 0
		}
		assert.Equal(t, whole[i], bare)
		var back Record
		require.NoError(t, json.Unmarshal(data, &back))
		assert.Equal(t, j.Record(), back)
	}
	foreign := Reading{Part: Wire, Quantity: Resistance, Cylinder: 1, Value: math.NaN(), Text: "OL"}
	foreign.Restore(nil)
	assert.True(t, foreign.Open())
	word := Reading{Part: Spark, Quantity: Outcome, Cylinder: 1, Value: math.NaN(), Text: "OL"}
	word.Restore([]byte("{"))
	assert.True(t, math.IsNaN(word.Value))
}

// The table of kinds: each is found by its key and by what it is of, and tells how to measure it.
func TestKinds(t *testing.T) {
	for _, k := range Kinds() {
		same, ok := KindOf(k.Part, k.Quantity)
		require.True(t, ok)
		assert.Equal(t, k.Key, same.Key)
		assert.NotEmpty(t, k.Name)
		assert.NotEmpty(t, k.How)
		assert.NotNil(t, k.judge)
		assert.Equal(t, k.dimension == words, k.Unit == "")
		if k.Unit != "" {
			u, known := unitOf(k.Unit)
			require.True(t, known, k.Unit)
			assert.Equal(t, k.dimension, u.dimension)
		}
	}
	_, err := FindKind("Wires")
	assert.ErrorContains(t, err, `no kind of reading "Wires"; perhaps wire is meant; 'stumble bench kinds' lists them`)
}

func TestMark(t *testing.T) {
	for _, m := range []Mark{CannotSay, Good, Suspect, Bad} {
		text, err := m.MarshalText()
		require.NoError(t, err)
		var back Mark
		require.NoError(t, back.UnmarshalText(text))
		assert.Equal(t, m, back)
	}
	assert.Equal(t, "cannot_say", CannotSay.String())
	assert.Equal(t, "?", Mark(9).String())
}
