package journal_test

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"stumble/misfire/journal"
)

// The Unix folders are those of the XDG Base Directory Specification 0.8; those of macOS and Windows are common
// practice.
func TestDefaultPath(t *testing.T) {
	for _, c := range []struct {
		goos string
		env  map[string]string
		want string
	}{
		{"linux", map[string]string{"HOME": "/home/tech"}, "/home/tech/.local/share/stumble/journal.db"},
		{"linux", map[string]string{"HOME": "/home/tech", "XDG_DATA_HOME": "/data"}, "/data/stumble/journal.db"},
		{"linux", map[string]string{"HOME": "/home/tech", "XDG_DATA_HOME": "data"}, "/home/tech/.local/share/stumble/journal.db"},
		{"freebsd", map[string]string{"HOME": "/home/tech"}, "/home/tech/.local/share/stumble/journal.db"},
		{"darwin", map[string]string{"HOME": "/Users/tech"}, "/Users/tech/Library/Application Support/stumble/journal.db"},
		{"windows", map[string]string{"LOCALAPPDATA": `C:\Users\tech\AppData\Local`}, `C:\Users\tech\AppData\Local\stumble\journal.db`},
		{"windows", map[string]string{"APPDATA": `D:\`}, `D:\stumble\journal.db`},
		{"linux", map[string]string{"HOME": "/home/tech", "STUMBLE_JOURNAL": "shop.db"}, "shop.db"},
		{"linux", nil, ""},
		{"windows", nil, ""},
	} {
		got, err := journal.DefaultPath(func(name string) string { return c.env[name] }, c.goos)
		assert.Equal(t, c.want, got)
		if c.want == "" {
			assert.ErrorContains(t, err, "name its file with --journal or STUMBLE_JOURNAL")
		} else {
			assert.NoError(t, err)
		}
	}
}
