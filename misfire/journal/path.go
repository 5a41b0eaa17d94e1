package journal

import (
	"errors"
	"path"
	"strings"
)

// DefaultPath is where the journal lies when the user names no file: what STUMBLE_JOURNAL names, else journal.db in
// the program's folder under the system's data folder. env is os.Getenv or the like, goos is runtime.GOOS. On Linux
// and the other Unix systems that is the XDG Base Directory Specification's $XDG_DATA_HOME, or ~/.local/share; a
// relative $XDG_DATA_HOME is passed over, as the specification asks. It is an error when no home folder is known.
func DefaultPath(env func(string) string, goos string) (string, error) {
	if named := env("STUMBLE_JOURNAL"); named != "" {
		return named, nil
	}
	const folder, file = "stumble", "journal.db"
	if goos == "windows" {
		for _, name := range []string{"LOCALAPPDATA", "APPDATA"} {
			if data := env(name); data != "" {
				return strings.Join([]string{strings.TrimRight(data, `\`), folder, file}, `\`), nil
			}
		}
		return "", errNoHome
	}
	if data := env("XDG_DATA_HOME"); path.IsAbs(data) {
		return path.Join(data, folder, file), nil
	}
	home := env("HOME")
	switch {
	case home == "":
		return "", errNoHome
	case goos == "darwin":
		return path.Join(home, "Library", "Application Support", folder, file), nil
	}
	return path.Join(home, ".local", "share", folder, file), nil
}

var errNoHome = errors.New("no folder for the journal is known: name its file with --journal or STUMBLE_JOURNAL")
