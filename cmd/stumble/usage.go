package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// usageError is a command line that cannot be carried out.
type usageError struct{ error }

func usagef(format string, args ...any) error { return usageError{fmt.Errorf(format, args...)} }

// atMost is the number of arguments that a command takes.
func atMost(most int) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) > most {
			return usagef("%q is one argument too many; '%s --help' tells what it takes", args[most], c.CommandPath())
		}
		return nil
	}
}

// errNoCommand says that no command was named; what there is has been told.
var errNoCommand = errors.New("no command was named")

// noSuchCommand answers a command that is not there with those that are nearly called so.
func noSuchCommand(root *cobra.Command, name string) error {
	if near := root.SuggestionsFor(name); len(near) > 0 {
		return usagef("there is no command %q; did you mean %s? 'stumble help' lists them", name, strings.Join(near, " or "))
	}
	return usagef("there is no command %q; 'stumble help' lists them", name)
}

// flagError says what is wrong with an option and where to look. Help that was asked for comes this way, too, and is
// passed on.
func flagError(c *cobra.Command, err error) error {
	if errors.Is(err, pflag.ErrHelp) {
		return err
	}
	hint := fmt.Sprintf("'%s --help' lists the options", c.CommandPath())
	if !c.HasParent() {
		hint = "options stand behind a command, and 'stumble help' lists those"
	}
	var unknown *pflag.NotExistError
	if errors.As(err, &unknown) {
		return noSuchOption(c, unknown, hint)
	}
	return usagef("%s; %s", complaint(err), hint)
}

// complaint is what is wrong with an option.
func complaint(err error) string {
	var missing *pflag.ValueRequiredError
	var invalid *pflag.InvalidValueError
	var malformed *pflag.InvalidSyntaxError
	switch {
	case errors.As(err, &missing):
		return "a value is missing after --" + missing.GetFlag().Name
	case errors.As(err, &invalid):
		return fmt.Sprintf("--%s cannot be %q: %s", invalid.GetFlag().Name, invalid.GetValue(), wanted(invalid))
	case errors.As(err, &malformed):
		return fmt.Sprintf("%q is no option", malformed.GetSpecifiedFlag())
	}
	return err.Error()
}

// noSuchOption answers an option that is not there with those that are nearly called so.
func noSuchOption(c *cobra.Command, unknown *pflag.NotExistError, hint string) error {
	name, dashes := unknown.GetSpecifiedName(), "--"
	if short := unknown.GetSpecifiedShortnames(); short != "" {
		name, _, _ = strings.Cut(short, "=")
		dashes = "-"
	}
	if near := nearestOptions(c, name); len(near) > 0 {
		return usagef("there is no option %s%s; did you mean --%s? %s", dashes, name, strings.Join(near, " or --"), hint)
	}
	return usagef("there is no option %s%s; %s", dashes, name, hint)
}

// nearestOptions are the options of a command that are nearly called so. The library compares names of commands alone,
// so each option is shown to it as one.
func nearestOptions(c *cobra.Command, name string) []string {
	if c.Flags().Lookup(name) != nil {
		return []string{name} // it lacked a dash
	}
	options := &cobra.Command{SuggestionsMinimumDistance: min(nearby, len(name)/2)}
	c.Flags().VisitAll(func(f *pflag.Flag) {
		options.AddCommand(&cobra.Command{Use: f.Name, Run: func(*cobra.Command, []string) {}})
	})
	return options.SuggestionsFor(name)
}

// nearby is how many letters may be wrong in what is taken for a slip of the finger; common practice, no source.
const nearby = 2

// wanted is what an option takes. The values that are ours say so themselves.
func wanted(e *pflag.InvalidValueError) string {
	switch e.GetFlag().Value.Type() {
	case "bool":
		return "leave the value out, or give true or false"
	case "int", "int64":
		return "give a whole number"
	case "float64":
		return "give a number"
	}
	return errors.Unwrap(e).Error()
}
