package engine

import (
	"bytes"
	_ "embed"
	"fmt"
	"slices"
	"strings"
)

//go:embed layouts.csv
var table []byte

// Layouts are the common layouts, grouped by shape. The caller owns the result. Rows
// whose Source says "from memory" were not checked against a page.
func Layouts() []Layout {
	layouts, _, err := Load(bytes.NewReader(table))
	if err != nil {
		panic("engine: the built-in table: " + err.Error()) // a test reads it, so no user meets this
	}
	return layouts
}

// Find looks a layout up by its key, letter case aside. The error names keys of the same shape.
func Find(key string) (Layout, error) {
	return FindIn(Layouts(), key)
}

// FindIn looks a layout up by its key among layouts, as a user's own followed by Layouts. The first wins.
func FindIn(layouts []Layout, key string) (Layout, error) {
	key = strings.ToLower(strings.TrimSpace(key))
	i := slices.IndexFunc(layouts, func(l Layout) bool { return strings.ToLower(l.Key) == key })
	if i < 0 {
		return Layout{}, unknown(layouts, key)
	}
	return layouts[i], nil
}

// unknown names the keys that begin like key does, or says how keys look.
func unknown(layouts []Layout, key string) error {
	shape, _, _ := strings.Cut(key, "-")
	var near []string
	for _, l := range layouts {
		if begin, _, _ := strings.Cut(strings.ToLower(l.Key), "-"); begin == shape {
			near = append(near, l.Key)
		}
	}
	if len(near) == 0 {
		return fmt.Errorf("no engine layout is called %q: keys look like i4-1342 or v6-odd-even-123456; see the list of layouts", key)
	}
	return fmt.Errorf("no engine layout is called %q: those that begin with %s are %s", key, shape, strings.Join(near, ", "))
}
