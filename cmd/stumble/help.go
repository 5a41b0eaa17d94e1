package main

import (
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// helpCommand is 'help COMMAND', which is COMMAND --help.
func helpCommand(root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:     "help [COMMAND]",
		Short:   "tell what a command does, and its options",
		Long:    "Tell what a command does, and its options. Without COMMAND it lists them all.",
		Example: "stumble help watch",
		RunE: func(_ *cobra.Command, args []string) error {
			about, rest, err := root.Find(args)
			if err != nil || len(rest) > 0 {
				return noSuchCommand(root, strings.Join(args, " "))
			}
			return about.Help()
		},
		ValidArgsFunction: func(_ *cobra.Command, args []string, _ string) (names []string, _ cobra.ShellCompDirective) {
			about, _, err := root.Find(args)
			if err == nil {
				for _, c := range about.Commands() {
					names = append(names, cobra.CompletionWithDesc(c.Name(), c.Short))
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
	}
}

// writeOverview lists the commands in the order of a job.
func writeOverview(w io.Writer, groups []group) {
	fmt.Fprintln(w, "stumble finds which cylinder misfires, and when.")
	fmt.Fprintln(w)
	fmt.Fprintln(w, "usage: stumble COMMAND [options]; 'stumble COMMAND --help' tells more")
	for _, g := range groups {
		fmt.Fprintf(w, "\n%s\n", g.title)
		writeCommands(w, g.commands)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "Start with: stumble demo")
}

func writeCommands(w io.Writer, commands []*cobra.Command) {
	for _, c := range commands {
		fmt.Fprintf(w, "  %-11s %s\n", c.Name(), c.Short)
	}
}

// writeHelp tells what a command does, its options, and an example.
func writeHelp(w io.Writer, c *cobra.Command) {
	for paragraph := range strings.SplitSeq(strings.TrimRight(c.Long, "\n"), "\n\n") {
		writeWrapped(w, "", paragraph)
		fmt.Fprintln(w)
	}
	if c.HasAvailableSubCommands() {
		writeCommands(w, c.Commands())
		fmt.Fprintln(w)
	}
	writeOptions(w, c.Flags())
	if c.Example != "" {
		fmt.Fprintf(w, "example:\n  %s\n", c.Example)
	}
}

// writeOptions lists the options but for --help, which was found.
func writeOptions(w io.Writer, options *pflag.FlagSet) {
	written := false
	options.VisitAll(func(o *pflag.Flag) {
		if o.Name == "help" {
			return
		}
		what, usage := pflag.UnquoteUsage(o)
		writeWrapped(w, fmt.Sprintf("  %-20s ", strings.TrimSpace("--"+o.Name+" "+what)), usage)
		written = true
	})
	if written {
		fmt.Fprintln(w)
	}
}
