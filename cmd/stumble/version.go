package main

import (
	"cmp"
	"runtime/debug"
	"strings"
)

// buildInfo is what the compiler wrote into the program; empty when it wrote nothing.
func buildInfo() debug.BuildInfo {
	if info, ok := debug.ReadBuildInfo(); ok {
		return *info
	}
	return debug.BuildInfo{}
}

// version tells which state of the program this is: the module's version, the commit it was built from, the compiler
// and the system.
func version(info debug.BuildInfo) string {
	settings := make(map[string]string)
	for _, s := range info.Settings {
		settings[s.Key] = s.Value
	}
	words := []string{cmp.Or(info.Main.Version, "(unknown version)")}
	if commit := settings["vcs.revision"]; commit != "" {
		words = append(words, "commit "+commit[:min(len(commit), 12)])
		if settings["vcs.modified"] == "true" {
			words = append(words, "and changes")
		}
		if at, _, dated := strings.Cut(settings["vcs.time"], "T"); dated {
			words = append(words, "of "+at)
		}
	}
	if info.GoVersion != "" {
		words = append(words, info.GoVersion)
	}
	if system := settings["GOOS"]; system != "" {
		words = append(words, system+"/"+settings["GOARCH"])
	}
	return strings.Join(words, " ")
}
