package main

import (
	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"stumble/misfire/engine"
	"stumble/obd/sim"
)

// completionCommand is the library's command that writes the scripts by which a shell completes ours.
func completionCommand(root *cobra.Command) *cobra.Command {
	root.InitDefaultCompletionCmd()
	c, _, err := root.Find([]string{"completion"})
	if err != nil {
		panic(err) // it was added in the line before
	}
	c.Short = "write the script by which a shell completes commands and options"
	c.Long = "Write the script by which a shell completes commands and options. The help of each shell tells where\nit goes."
	c.Example = "stumble completion bash --help"
	c.RunE = func(*cobra.Command, []string) error {
		return usagef("say for which shell: bash, zsh, fish or powershell; 'stumble completion --help' tells more")
	}
	c.Args = atMost(0)
	c.SetHelpCommand(&cobra.Command{Hidden: true})
	for _, shell := range c.Commands() {
		shell.Args = atMost(0)
	}
	return c
}

// completeValues tells the shell what may stand behind the options of a command.
func completeValues(c *cobra.Command) {
	c.Flags().VisitAll(func(f *pflag.Flag) {
		if what, _ := pflag.UnquoteUsage(f); what == "FILE" || what == "" {
			return // the shell knows files, and a switch takes nothing
		}
		directive := cobra.ShellCompDirectiveNoFileComp
		if f.Name == "port" {
			directive = cobra.ShellCompDirectiveDefault // a device is a file
		}
		complete := func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return valuesOf(f.Name), directive
		}
		_ = c.RegisterFlagCompletionFunc(f.Name, complete) // fails only for an option that is not there, or told twice
	})
}

// valuesOf are what may stand behind an option, where that can be listed.
func valuesOf(option string) []string {
	switch option {
	case "engine":
		return layoutKeys()
	case "fail-on":
		return []string{"not_proven", "improved", "not_yet", "still_missing", "moved"}
	case "format":
		return []string{"csv", "jsonl", "parquet"}
	case "ignition":
		return []string{"each", "shared", "distributor"}
	case "map":
		return []string{"firing-order"}
	case "paper":
		return []string{"a4", "letter"}
	case "port":
		return simulatedPorts()
	case "speed":
		return []string{"1", "max"}
	case "units":
		return []string{"metric", "us"}
	case "what":
		return tables()
	case "width":
		return []string{"72", "132"}
	}
	return nil
}

func layoutKeys() (keys []string) {
	for _, l := range engine.Layouts() {
		row := l.Row()
		keys = append(keys, cobra.CompletionWithDesc(row.Key, row.Name))
	}
	return keys
}

// simulatedPorts are the simulated cars, as --port names them.
func simulatedPorts() (ports []string) {
	for _, s := range sim.Scenarios() {
		ports = append(ports, cobra.CompletionWithDesc("sim:"+s.Name, s.Summary))
	}
	return ports
}

// completeScenario tells the shell which cars there are.
func completeScenario(_ *cobra.Command, args []string, _ string) (names []string, _ cobra.ShellCompDirective) {
	if len(args) == 0 {
		for _, s := range sim.Scenarios() {
			names = append(names, cobra.CompletionWithDesc(s.Name, s.Summary))
		}
	}
	return names, cobra.ShellCompDirectiveNoFileComp
}
