package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"runtime"
	"strings"

	"github.com/spf13/pflag"

	"stumble/views/report"
)

// settingsOption names the user's settings file.
type settingsOption struct{ path string }

func (o *settingsOption) flags(f *pflag.FlagSet) {
	f.StringVar(&o.path, "settings", "", "the settings `FILE`; without it settings.json in the user's configuration folder, if it is there")
}

// settings are what the user wrote down once for all reports.
type settings struct {
	path         string // of the file; empty when there is none
	shop         report.Shop
	paper, units string
}

// settingsFile is the file as it is written.
type settingsFile struct {
	ShopName    string `json:"shop_name"`
	ShopAddress string `json:"shop_address"`
	Logo        string `json:"logo"`
	Paper       string `json:"paper"`
	Units       string `json:"units"`
}

// longestSettings is more than anybody writes by hand.
const longestSettings = 64 << 10

// readSettings reads the settings. Without a file that the user named, there need be none.
func (a *app) readSettings(o *settingsOption) (s settings, err error) {
	named := o.path != ""
	s.path = o.path
	if !named {
		if s.path = settingsPath(a.env, runtime.GOOS); s.path == "" {
			return s, nil
		}
	}
	text, err := readBounded(s.path, longestSettings)
	switch {
	case errors.Is(err, fs.ErrNotExist) && !named:
		return settings{}, nil
	case err != nil:
		return s, fmt.Errorf("the settings cannot be read: %w; check what --settings names", err)
	}
	var file settingsFile
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&file); err != nil {
		return s, fmt.Errorf("the settings %s are not as they should be (%s): write shop_name, shop_address, logo, paper and units as JSON", s.path, plainJSON(err))
	}
	if _, err := d.Token(); err != io.EOF {
		return s, fmt.Errorf("the settings %s go on after their end: write one JSON object", s.path)
	}
	s.shop = report.Shop{Name: file.ShopName, Address: file.ShopAddress}
	s.paper, s.units = file.Paper, file.Units
	if file.Logo != "" {
		logo := file.Logo
		if !filepath.IsAbs(logo) { // beside the settings, wherever the program is started
			logo = filepath.Join(filepath.Dir(s.path), logo)
		}
		if s.shop.Logo, err = readLogo(logo); err != nil {
			return s, err
		}
	}
	_, err = s.reportOptions("", "")
	return s, err
}

// readLogo reads the picture of the shop.
func readLogo(path string) (*report.Logo, error) {
	data, err := readBounded(path, report.LargestLogo)
	if err != nil {
		return nil, fmt.Errorf("the logo cannot be read: %w; check what logo in the settings names", err)
	}
	logo, err := report.NewLogo(data)
	if err != nil {
		return nil, fmt.Errorf("the logo %s cannot be used: %w", path, err)
	}
	return logo, nil
}

// readBounded reads a plain file that is not larger than it may be.
func readBounded(path string, most int) ([]byte, error) {
	info, err := os.Stat(path)
	switch {
	case err != nil:
		return nil, err
	case !info.Mode().IsRegular():
		return nil, fmt.Errorf("%s is not a plain file: name another", path)
	case info.Size() > int64(most):
		return nil, fmt.Errorf("%s is larger than the %d KiB that are allowed: make it smaller", path, most>>10)
	}
	return os.ReadFile(path)
}

// plainJSON is a complaint of package json without the names of the program's own types.
func plainJSON(err error) string {
	var kind *json.UnmarshalTypeError
	var syntax *json.SyntaxError
	switch {
	case errors.As(err, &kind):
		return fmt.Sprintf("%s is no text", kind.Field)
	case errors.As(err, &syntax):
		return fmt.Sprintf("no JSON at byte %d", syntax.Offset)
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return "it ends too early"
	}
	return strings.TrimPrefix(err.Error(), "json: ")
}

// reportOptions are the settings of a report, with what the command line says before them.
func (s *settings) reportOptions(paper, units string) (o report.Options, err error) {
	where := ""
	if s.path != "" {
		where = " (" + s.path + ")"
	}
	for _, from := range []struct{ paper, units, where string }{{s.paper, s.units, where}, {paper, units, ""}} {
		if from.paper != "" {
			if o.Paper, err = report.ParsePaper(from.paper); err != nil {
				return o, usageError{fmt.Errorf("%w%s", err, from.where)}
			}
		}
		if from.units != "" {
			if o.Units, err = report.ParseUnits(from.units); err != nil {
				return o, usageError{fmt.Errorf("%w%s", err, from.where)}
			}
		}
	}
	return o, nil
}

const unitsUsage = "the `UNITS`: metric, or us for degrees Fahrenheit, mph and psi; else as the settings say, else metric"

// inUSUnits reports whether numbers are told in the units of the United States: as the command line says, else the settings.
func (a *app) inUSUnits(o *settingsOption, units string) (bool, error) {
	s, err := a.readSettings(o)
	if err != nil {
		return false, err
	}
	options, err := s.reportOptions("", units)
	return options.Units == report.US, err
}

// settingsPath is where the settings lie when the user names no file: in the program's folder under the system's
// configuration folder, which is that of os.UserConfigDir; empty when no home folder is known.
func settingsPath(env func(string) string, goos string) string {
	const folder, file = "stumble", "settings.json"
	home := env("HOME")
	switch config := env("XDG_CONFIG_HOME"); {
	case goos == "windows":
		if data := env("AppData"); data != "" {
			return strings.Join([]string{strings.TrimRight(data, `\`), folder, file}, `\`)
		}
		return ""
	case goos == "darwin" && home != "":
		return path.Join(home, "Library", "Application Support", folder, file)
	case goos == "darwin":
		return ""
	case path.IsAbs(config):
		return path.Join(config, folder, file)
	case home != "":
		return path.Join(home, ".config", folder, file)
	}
	return ""
}
