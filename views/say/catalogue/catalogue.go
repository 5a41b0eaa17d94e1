// Package catalogue holds the words that people read, a file a language. Who tells something names a message by its key
// and gives it what it is about.
//
// A file has a message a line, as
//
//	# how many were counted: 1 the number as written
//	misses[one]:   {1}~miss
//	misses[other]: {1}~misses
//
// {1} stands for the first thing the message is about, ~ for a space at which no line is broken. A line that begins
// with a space goes on with the message before it. The forms in brackets are the plural categories of Unicode's CLDR;
// a language has those that it needs, and always other.
package catalogue

import (
	_ "embed"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"stumble/views/wrap"
	"sync"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/language"
)

// Key names a message.
type Key string

// Catalogue is the words of one language. It does not change.
type Catalogue struct {
	tag      language.Tag
	messages map[Key]string // plural forms as key[form]
}

//go:embed en.txt
var english string

// English is the words that are always there. They are read once; a Catalogue does not change.
var English = sync.OnceValue(func() *Catalogue {
	c, err := parse(language.English, english)
	if err != nil { // a test holds the embedded file to being whole
		return &Catalogue{tag: language.English}
	}
	return c
})

// Language is the language's name, as BCP 47 has it.
func (c *Catalogue) Language() string { return c.tag.String() }

// Tell is a message about some things. A message that is not there is told by its key.
func (c *Catalogue) Tell(key Key, about ...any) string {
	text, ok := c.messages[key]
	if !ok {
		return string(key)
	}
	return fill(text, about)
}

// Count is a message about a whole number of things, in the plural form that the number takes. {1} is the first of
// about, which is the number as it is to be written.
func (c *Catalogue) Count(key Key, n float64, about ...any) string {
	whole := int(min(max(n, 0), 1e9))
	form := forms()[plural.Cardinal.MatchPlural(c.tag, whole, 0, 0, 0, 0)]
	text, ok := c.messages[key+"["+form+"]"]
	if !ok {
		if text, ok = c.messages[key+"[other]"]; !ok {
			return string(key)
		}
	}
	return fill(text, about)
}

func forms() map[plural.Form]Key {
	return map[plural.Form]Key{plural.Other: "other", plural.Zero: "zero", plural.One: "one", plural.Two: "two", plural.Few: "few", plural.Many: "many"}
}

// Keys are the keys of all messages, in order; a message of several forms is named once.
func (c *Catalogue) Keys() []Key {
	all := make(map[Key]bool)
	for k := range c.messages {
		name, _, _ := strings.Cut(string(k), "[")
		all[Key(name)] = true
	}
	return slices.Sorted(maps.Keys(all))
}

// Places is how many things a message is about, in whatever form; an error when it leaves one out that it counts past.
func (c *Catalogue) Places(key Key) (int, error) {
	most := 0
	for k, text := range c.messages {
		if name, _, _ := strings.Cut(string(k), "["); Key(name) != key {
			continue
		}
		n := 0
		for strings.Contains(text, place(n+1)) {
			n++
		}
		if left := strings.Count(text, "{"); left > 0 && strings.Contains(text, place(n+2)) {
			return 0, fmt.Errorf("%s skips %s", k, place(n+1))
		}
		most = max(most, n)
	}
	return most, nil
}

func place(n int) string { return "{" + strconv.Itoa(n) + "}" }

func fill(text string, about []any) string {
	if len(about) == 0 {
		return text
	}
	pairs := make([]string, 0, 2*len(about))
	for i, a := range about {
		pairs = append(pairs, place(i+1), fmt.Sprint(a))
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// parse reads a file of messages.
func parse(tag language.Tag, text string) (*Catalogue, error) {
	c := &Catalogue{tag: tag, messages: make(map[Key]string)}
	var last Key
	for number, line := range strings.Split(text, "\n") {
		wrong := func(what string) error { return fmt.Errorf("line %d %s: %q", number+1, what, line) }
		trimmed := strings.TrimSpace(line)
		switch {
		case trimmed == "" || strings.HasPrefix(line, "#"):
			continue
		case line[0] == ' ' || line[0] == '\t':
			if last == "" {
				return nil, wrong("goes on with nothing")
			}
			c.messages[last] += " " + unbroken(trimmed)
			continue
		}
		key, message, ok := strings.Cut(line, ":")
		if !ok || key == "" || strings.ContainsAny(key, " \t") {
			return nil, wrong("has no key")
		}
		last = Key(key)
		if _, twice := c.messages[last]; twice {
			return nil, wrong("is there twice")
		}
		c.messages[last] = unbroken(strings.TrimSpace(message))
	}
	return c, nil
}

func unbroken(s string) string { return strings.ReplaceAll(s, "~", wrap.FirmSpace) }
