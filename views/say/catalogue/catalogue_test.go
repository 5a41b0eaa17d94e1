package catalogue

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/text/language"
)

func catalogue(t testing.TB, tag language.Tag, text string) *Catalogue {
	t.Helper()
	c, err := parse(tag, text)
	require.NoError(t, err)
	return c
}

func TestMessages(t *testing.T) {
	c := catalogue(t, language.English, "# words\n\nplain-word: none\nlong-word: one\n  two\n\tthree\nrate-of: {2} of {1}, {2}~again\n")
	assert.Equal(t, "none", c.Tell("plain-word"))
	assert.Equal(t, "one two three", c.Tell("long-word"))
	assert.Equal(t, "7 of 1,000, 7\u00a0again", c.Tell("rate-of", "1,000", 7))
	assert.Equal(t, "{1} of {2}, {1}\u00a0again", c.Tell("rate-of", "{2}", "{1}"), "what is filled in is not looked through")
	assert.Equal(t, "not-there", c.Tell("not-there", 3))
	assert.Equal(t, "not-there", c.Count("not-there", 3))
	assert.Equal(t, []Key{"long-word", "plain-word", "rate-of"}, c.Keys())
}

// Plural categories of CLDR 47: English has one and other; Polish parts 2 to 4 from 5 to 21; Arabic has six.
func TestPlurals(t *testing.T) {
	text := "count-miss[zero]: {1} zero\ncount-miss[one]: {1} one\ncount-miss[two]: {1} two\ncount-miss[few]: {1} few\n" +
		"count-miss[many]: {1} many\ncount-miss[other]: {1} other\n"
	for _, c := range []struct {
		tag  string
		n    float64
		want string
	}{
		{"en", 0, "0 other"}, {"en", 1, "1 one"}, {"en", 2, "2 other"}, {"en", 21, "21 other"},
		{"pl", 1, "1 one"}, {"pl", 2, "2 few"}, {"pl", 5, "5 many"}, {"pl", 12, "12 many"}, {"pl", 22, "22 few"},
		{"ar", 0, "0 zero"}, {"ar", 2, "2 two"}, {"ar", 3, "3 few"}, {"ar", 11, "11 many"}, {"ar", 100, "100 other"},
		{"ja", 1, "1 other"},
	} {
		got := catalogue(t, language.MustParse(c.tag), text).Count("count-miss", c.n, c.n)
		assert.Equal(t, c.want, got, "%s %v", c.tag, c.n)
	}
	only := catalogue(t, language.Polish, "count-miss[other]: {1} misses")
	assert.Equal(t, "2 misses", only.Count("count-miss", 2, 2), "a form that is left out is other")
}

func TestPlaces(t *testing.T) {
	c := catalogue(t, language.English, "no-place: x\ntwo-places: {2} {1} {2}\nforms[one]: one\nforms[other]: {1}\nskips-one: {1} {3}")
	for key, want := range map[Key]int{"no-place": 0, "two-places": 2, "forms": 1} {
		n, err := c.Places(key)
		require.NoError(t, err)
		assert.Equal(t, want, n, key)
	}
	_, err := c.Places("skips-one")
	assert.ErrorContains(t, err, "skips {2}")
}

func TestWrongFiles(t *testing.T) {
	for text, want := range map[string]string{
		"no colon here":    "line 1 has no key",
		"a key: x":         "line 1 has no key",
		": x":              "line 1 has no key",
		"\n  goes on":      "line 2 goes on with nothing",
		"a: x\nb: y\na: z": "line 3 is there twice",
	} {
		_, err := parse(language.English, text)
		assert.ErrorContains(t, err, want)
	}
}

// The file of the language that is always there.
func TestEnglishIsWhole(t *testing.T) {
	c, err := parse(language.English, english)
	require.NoError(t, err)
	assert.Equal(t, c, English())
	assert.Equal(t, "en", c.Language())
	for _, key := range c.Keys() {
		_, err := c.Places(key)
		assert.NoError(t, err)
		assert.Contains(t, string(key), "-", "a key has a hyphen, by which a test finds it in the source")
	}
	for key, text := range c.messages {
		assert.NotEmpty(t, text, key)
		assert.NotContains(t, text, "  ", key)
		if name, form, plural := strings.Cut(string(key), "["); plural {
			assert.Contains(t, []string{"one]", "other]"}, form, key)
			for _, f := range []string{"one", "other"} {
				assert.Contains(t, c.messages, Key(name+"["+f+"]"))
			}
		}
	}
}
