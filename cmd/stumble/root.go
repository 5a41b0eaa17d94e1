package main

import "github.com/spf13/cobra"

// group is what the overview lists together.
type group struct {
	title    string
	commands []*cobra.Command
}

// groups are the commands of the job, in its order.
func groups(a *app) []group {
	return []group{
		{"Practice, without a car:", []*cobra.Command{demoCommand(a), simulateCommand(a)}},
		{"The car:", []*cobra.Command{
			portsCommand(a), doctorCommand(a), codesCommand(a), intakeCommand(a), watchCommand(a), loadtestCommand(a), clearCommand(a),
			countersCommand(a),
		}},
		{"The job:", []*cobra.Command{benchCommand(a), causesCommand(a), swappedCommand(a), repairedCommand(a), compareCommand(a), reportCommand(a)}},
		{"What is saved:", []*cobra.Command{jobsCommand(a), playbackCommand(a), exportCommand(a), settingsCommand(a)}},
	}
}

const rootAbout = `Stumble finds, times and explains an engine's misfire through an ELM327-compatible adapter, and
proves its cure.`

// newRoot is the whole command line.
func newRoot(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:                        "stumble",
		Short:                      "find which cylinder of an engine misfires, and when",
		Long:                       rootAbout,
		Version:                    version(buildInfo()),
		SilenceErrors:              true, // they are told by report, on one line
		SilenceUsage:               true,
		SuggestionsMinimumDistance: nearby,
	}
	root.Args = func(_ *cobra.Command, args []string) error {
		if len(args) > 0 {
			return noSuchCommand(root, args[0])
		}
		return nil
	}
	root.SetIn(a.in)
	root.SetOut(a.out)
	root.SetErr(a.err)
	root.SetVersionTemplate("stumble {{.Version}}\n")
	root.SetFlagErrorFunc(flagError)
	all := groups(a)
	for _, g := range all {
		root.AddCommand(g.commands...)
	}
	help := helpCommand(root)
	root.SetHelpCommand(help)
	root.InitDefaultHelpCmd()
	man := manCommand(a, root)
	root.AddCommand(man)
	all = append(all, group{"The program:", []*cobra.Command{completionCommand(root), man, help}})
	root.RunE = func(*cobra.Command, []string) error {
		if a.terminal.Present(a.in, a.written.Writer) {
			return a.showJobs()
		}
		writeOverview(a.err, all)
		return errNoCommand
	}
	root.SetHelpFunc(func(c *cobra.Command, _ []string) {
		if c == root {
			writeOverview(a.out, all)
			return
		}
		writeHelp(a.out, c)
	})
	finish(root)
	return root
}

// finish gives every command what all have in common.
func finish(c *cobra.Command) {
	// Without a letter of its own -h still asks for help, and so does -help.
	c.Flags().Bool("help", false, "tell what it does, and its options")
	c.Use += " [options]"
	c.DisableFlagsInUseLine = true // said in our word
	completeValues(c)
	for _, below := range c.Commands() {
		finish(below)
	}
}
