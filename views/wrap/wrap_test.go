package wrap

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestText(t *testing.T) {
	assert.Equal(t, []string{"one two", "three"}, Text("one  two three", 8))
	assert.Equal(t, []string{"a", "abcdef", "gh b"}, Text("a abcdefgh b", 6))
	assert.Equal(t, []string{"日本", "語"}, Text("日本語", 4))
	assert.Empty(t, Text("日本", 1))
	assert.Empty(t, Text("word", 0))
	assert.Equal(t, []string{"abc…", "abcd", "", "日…"}, []string{Cut("abcde", 4, '…'), Cut("abcd", 4, '…'), Cut("abc", 0, '…'), Cut("日本語", 4, '…')})
	assert.Equal(t, []string{"cde", "本語"}, []string{Tail("abcde", 3), Tail("日本語", 5)})
	assert.Equal(t, []string{"long", "mid", "s"}, []string{Longest(4, "long", "mid", "s"), Longest(3, "long", "mid", "s"), Longest(0, "long", "mid", "s")})
}
