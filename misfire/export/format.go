package export

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
)

// Format is how a table is written.
type Format string

// The formats.
const (
	CSV     Format = "csv"     // RFC 4180 with lines ending in a newline alone, a head line first, UTF-8
	JSONL   Format = "jsonl"   // a JSON object a line
	Parquet Format = "parquet" // compressed with Snappy; needs a file
)

// Formats lists them.
func Formats() []Format { return []Format{CSV, JSONL, Parquet} }

// ParseFormat reads a format by its name.
func ParseFormat(name string) (Format, error) {
	f := Format(name)
	if !slices.Contains(Formats(), f) {
		return "", fmt.Errorf("there is no format %q: give csv, jsonl or parquet", name)
	}
	return f, nil
}

// FormatOf is the format that a file's name ends in; CSV where it ends in none.
func FormatOf(path string) Format {
	f := Format(strings.ToLower(strings.TrimPrefix(filepath.Ext(path), ".")))
	if slices.Contains(Formats(), f) {
		return f
	}
	return CSV
}
