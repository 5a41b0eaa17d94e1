package bench

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Only the odd one is named: what it is held against is the middle of the others. Gaps of the first line are the README's.
func TestOnlyTheOddOneIsNamed(t *testing.T) {
	k := kindOf(t, "plug-gap")
	maker, err := k.ParseMaker("1.0-1.1mm")
	require.NoError(t, err)
	gaps := func(words ...string) []Judgement {
		all := typed(t, "plug-gap", words...)
		for i := range all {
			all[i].Maker = maker
		}
		return Judge(all)
	}
	assert.Equal(t, []Mark{Good, Bad, Good, Good}, marks(gaps("1=1.1mm", "2=1.4mm", "3=1.1mm", "4=1.1mm")))
	assert.Equal(t, []Mark{Good, Good, Good, Good, Suspect, Good}, marks(gaps("1=1.1mm", "2=1.1mm", "3=1.1mm", "4=1.1mm", "5=1.3mm", "6=1.1mm")))
	two := Judge(typed(t, "plug-gap", "1=1.1mm", "2=1.4mm"))
	assert.Equal(t, []Mark{Suspect, Suspect}, marks(two), "of two nobody knows which")

	assert.Equal(t, []Mark{Good, Good, Good, Suspect}, marks(Judge(typed(t, "coil-secondary", "1=8kohm", "2=8kohm", "3=8kohm", "4=11kohm"))))
	injectors := Judge(typed(t, "injector", "1=14.5ohm", "2=2ohm", "3=14.4ohm", "4=14.6ohm"))
	assert.Equal(t, []Mark{Good, Bad, Good, Good}, marks(injectors))
	assert.Equal(t, InjectorAlone, injectors[1].All[0].Says)
}

// Primaries alike a little below the band are a design; one that is near zero or unlike its siblings is not.
func TestPrimariesAlike(t *testing.T) {
	assert.Equal(t, []Mark{Good, Good, Good, Good}, marks(Judge(typed(t, "coil-primary", "1=0.25ohm", "2=0.26ohm", "3=0.25ohm", "4=0.24ohm"))))
	assert.Equal(t, []Mark{Good, Bad, Good, Good}, marks(Judge(typed(t, "coil-primary", "1=0.7ohm", "2=0.1ohm", "3=0.7ohm", "4=0.72ohm"))))
	assert.Equal(t, []Mark{Bad, Bad, Bad}, marks(Judge(typed(t, "coil-primary", "1=0.05ohm", "2=0.05ohm", "3=0.05ohm"))))
}

// Four resistor plugs alike are seldom all bad.
func TestPlugsAlike(t *testing.T) {
	assert.Equal(t, []Mark{CannotSay, CannotSay, CannotSay, CannotSay}, marks(Judge(typed(t, "plug-resistance", "1=14kohm", "2=15kohm", "3=14.5kohm", "4=14kohm"))))
	assert.Equal(t, []Mark{Good, Good, Good, Bad}, marks(Judge(typed(t, "plug-resistance", "1=5kohm", "2=5kohm", "3=5kohm", "4=25kohm"))))
}

// Every word of a look counts, wherever it stands.
func TestLooks(t *testing.T) {
	for words, want := range map[string]Mark{
		"wet,cracked": Bad, "wet, cracked": Bad, "sooty and cracked": Bad, "rounded edges": Bad, "dark track on the ceramic": Bad, "loose centre": Bad,
		"bridged": Bad, "melted": Bad, "normal": Good, "light tan": Good, "white": Suspect, "dry black fluffy": Suspect, "blue": CannotSay, "no cracks": CannotSay,
	} {
		all := Judge([]Reading{{Part: Plug, Quantity: Appearance, Cylinder: 2, Value: math.NaN(), Text: words}})
		assert.Equal(t, want, all[0].Mark, words)
	}
	both := Judge(typed(t, "plug-look", "2=wet,cracked"))[0]
	assert.ElementsMatch(t, []string{"look_wet", "look_cracked"}, said(&both))
}

func TestNeedle(t *testing.T) {
	for _, l := range needles() {
		j := Judge([]Reading{{Part: Engine, Quantity: Needle, Value: math.NaN(), Text: l.word}})
		assert.Equal(t, l.mark, j[0].Mark, l.word)
		assert.Equal(t, l.says, j[0].All[0].Says, l.word)
	}
}

// A meter that moves while the part is moved shows a break, whatever its ends are.
func TestMovingNeedle(t *testing.T) {
	all := Judge(typed(t, "wire", "1=12kohm@60cm", "2=12k..OL@60cm", "3=12.1kohm@60cm", "4=11.9..12.2kohm@60cm"))
	assert.Equal(t, []Mark{Good, Bad, Good, Suspect}, marks(all))
	assert.Equal(t, Moves, all[1].All[0].Says)
	assert.True(t, all[1].Reading.Moves)
	assert.Equal(t, 12.0, all[1].Reading.Value)
	assert.True(t, math.IsInf(all[1].Reading.To, 1))
	assert.Equal(t, 0.6, all[1].Reading.Length)
	assert.Equal(t, MovesALittle, all[3].All[0].Says)
	back := Judge(typed(t, "injector", "1=OL..14ohm"))
	assert.Equal(t, []Mark{Bad}, marks(back))
	open := Judge(append(typed(t, "wire", "3=11kohm..OL@60cm"), typed(t, "spark", "3=good")...))
	assert.Equal(t, SparkOverBreak, open[1].All[0].Says)
	for _, word := range []string{"1=12k..12k@60cm", "1=..12k@60cm", "1=12k..@60cm", "1=12k..13k..14k@60cm"} {
		_, err := (&Entry{Kind: kindOf(t, "wire")}).Parse(word)
		assert.Error(t, err, word)
	}
}

// Cold and hot are two readings of one part: each is held against those of its state, and the hot against the cold.
func TestColdAndHot(t *testing.T) {
	all := Judge(typed(t, "coil-secondary", "1=8k cold, 10k hot", "2=8.1k cold, 14k hot", "3=8k cold; OL hot", "4=8k cold, 10k hot", "5=10.1k hot"))
	require.Len(t, all, 9)
	assert.Equal(t, []Mark{Good, Good, Good, Bad, Good, Bad, Good, Good}, marks(all[:8]))
	assert.Equal(t, []State{Cold, Hot, Cold, Hot, Cold, Hot}, []State{all[0].Reading.State, all[1].Reading.State, all[2].Reading.State, all[3].Reading.State, all[4].Reading.State, all[5].Reading.State})
	assert.Contains(t, said(&all[3]), HeatsOff.String())
	assert.Contains(t, said(&all[5]), HeatsOpen.String())
	for i := range all {
		assert.False(t, all[i].Redone)
	}
	for word, says := range map[string]string{"1=8k cold, 9k cold": "two values of one state", "1=8k, 9k": "two values of one state"} {
		_, err := (&Entry{Kind: kindOf(t, "coil-secondary")}).Parse(word)
		assert.ErrorContains(t, err, says)
	}
	_, err := (&Entry{Kind: kindOf(t, "compression")}).Parse("1=900kPa hot")
	assert.ErrorContains(t, err, "only a resistance is told cold and hot")
}

// Volts are judged by the state they were measured in.
func TestBatteryByState(t *testing.T) {
	e := Entry{Kind: kindOf(t, "battery")}
	for word, want := range map[string]struct {
		quantity Quantity
		mark     Mark
	}{
		"12.1V": {Resting, Suspect}, "12.1V at rest": {Resting, Suspect}, "12.1V key on": {KeyOn, CannotSay}, "12.1V key-on": {KeyOn, CannotSay},
		"9.2V cranking": {Cranking, Bad}, "10.4V cranking": {Cranking, Good}, "14.2V running": {Charging, Good},
	} {
		all, err := e.Parse(word)
		require.NoError(t, err, word)
		assert.Equal(t, want.quantity, all[0].Quantity, word)
		assert.Equal(t, []Mark{want.mark}, marks(Judge(all)), word)
	}
	_, err := (&Entry{Kind: kindOf(t, "ground")}).Parse("0.1V cranking")
	assert.ErrorContains(t, err, "only a battery is told cranking")
	load := Judge(typed(t, "battery-load", "9.4V@50F"))
	assert.Equal(t, []Mark{Good}, marks(load))
	assert.Equal(t, 10.0, load[0].Reading.Celsius)
	assert.Equal(t, []Mark{Bad}, marks(Judge(typed(t, "battery-load", "9.4V"))), "taken to be warm")
}

// What was typed is kept beside what it is judged by. Factors: NIST Special Publication 811, appendix B.
func TestTypedUnits(t *testing.T) {
	for _, c := range []struct{ kind, word, unit, length string }{
		{"compression", "1=160psi", "psi", ""}, {"compression", "1=12bar", "bar", ""}, {"vacuum", "20inHg", "inHg", ""}, {"wire", "1=12100ohm@2ft", "ohm", "ft"},
		{"wire", "1=12k@24in", "kohm", "in"}, {"plug-gap", "1=0.044in", "in", ""}, {"port-temperature", "1=750F", "F", ""}, {"coil-voltage", "1=30000V", "V", ""},
	} {
		all := typed(t, c.kind, c.word)
		assert.Equal(t, [2]string{c.unit, c.length}, [2]string{all[0].Typed, all[0].TypedLength}, c.word)
	}
	for _, c := range []struct {
		v        float64
		from, to string
		apart    bool
		want     float64
	}{
		{100, "kPa", "psi", false, 14.5037744}, {1, "in", "mm", false, 25.4}, {212, "F", "C", false, 100}, {-40, "C", "F", false, -40}, {50, "C", "F", true, 90},
		{7, "kohm/ft", "kohm/m", false, 22.9658793}, {20, "inHg", "kPa", false, 67.72778},
	} {
		got, can := Convert(c.v, c.from, c.to, c.apart)
		assert.True(t, can)
		assert.InDelta(t, c.want, got, 1e-6*math.Abs(c.want), "%v", c)
	}
	for _, c := range [][2]string{{"kPa", "V"}, {"kohm/ft", "kohm"}, {"", "kPa"}, {"kPa", "furlong"}} {
		_, can := Convert(1, c[0], c[1], false)
		assert.False(t, can, "%v", c)
	}
}

// What the journal keeps is codes and numbers, and gives ranges, states and typed units back.
func TestRecordOfStates(t *testing.T) {
	whole := typed(t, "wire", "1=12k..OL@2ft", "2=11k..14k@60cm")
	whole = append(whole, typed(t, "coil-secondary", "1=8k cold, 14k hot")...)
	whole = append(whole, typed(t, "battery-load", "9.4V@50F")...)
	for i, j := range Judge(whole) {
		data, err := json.Marshal(j.Record())
		require.NoError(t, err)
		assert.NotContains(t, string(data), "why", "no sentence is kept")
		bare := Reading{Part: j.Reading.Part, Quantity: j.Reading.Quantity, Unit: j.Reading.Unit, Cylinder: j.Reading.Cylinder}
		bare.Value, bare.Text = j.Reading.Columns()
		bare.Restore(data)
		assert.Equal(t, whole[i], bare)
	}
	const old = `{"mark":"bad","why":"Open. A broken conductor.","rule":"plug wire, open","source":"common practice, no source","findings":[{"mark":"bad","why":"Open.","rule":"plug wire, open","source":"x"}],"length_m":0.6}`
	r := Reading{Part: Wire, Quantity: Resistance, Unit: "kohm", Cylinder: 2, Value: math.NaN(), Text: "OL"}
	r.Restore([]byte(old))
	assert.Equal(t, Reading{Part: Wire, Quantity: Resistance, Unit: "kohm", Cylinder: 2, Value: math.Inf(1), Length: 0.6}, r, "what an older program kept")
	var was Record
	require.NoError(t, json.Unmarshal([]byte(old), &was))
	assert.Equal(t, Bad, was.Mark)
}

// No two sayings have one code, and each has one.
func TestCodes(t *testing.T) {
	seen := map[string]bool{}
	for s, code := range codes() {
		assert.False(t, seen[code], code)
		seen[code] = true
		assert.Equal(t, code, Saying(s).String())
	}
	assert.Equal(t, "?", Saying(250).String())
}
