package views

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestText(t *testing.T) {
	assert.Equal(t, []string{"one two", "three"}, wrap("one  two three", 8))
	assert.Equal(t, []string{"a", "abcdef", "gh b"}, wrap("a abcdefgh b", 6))
	assert.Equal(t, []string{"日本", "語"}, wrap("日本語", 4))
	assert.Empty(t, wrap("日本", 1))
	assert.Empty(t, wrap("word", 0))
	assert.Equal(t, []string{"abc…", "abcd", "", "日…"}, []string{cut("abcde", 4, '…'), cut("abcd", 4, '…'), cut("abc", 0, '…'), cut("日本語", 4, '…')})
	assert.Equal(t, []string{"cde", "本語"}, []string{tail("abcde", 3), tail("日本語", 5)})
	assert.Equal(t, []string{"long", "mid", "s"}, []string{longest(4, "long", "mid", "s"), longest(3, "long", "mid", "s"), longest(0, "long", "mid", "s")})
}
