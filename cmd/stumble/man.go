package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

const manAbout = `Write the manual pages, one for each command, into a folder that is there:

  stumble man /usr/local/share/man/man1

'man stumble' then tells what the commands are, 'man stumble-watch' what one does.`

// manCommand writes the manual pages.
func manCommand(a *app, root *cobra.Command) *cobra.Command {
	return &cobra.Command{
		Use:     "man FOLDER",
		Short:   "write the manual pages",
		Long:    manAbout,
		Example: "stumble man /usr/local/share/man/man1",
		Args:    atMost(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usagef("say into which folder; 'stumble man --help' shows how")
			}
			return writeManual(a, root, args[0])
		},
	}
}

// writeManual writes a page for each command into the folder.
func writeManual(a *app, root *cobra.Command, folder string) error {
	if info, err := os.Stat(folder); err != nil || !info.IsDir() {
		return fmt.Errorf("%s is no folder: make it first, or name another", folder)
	}
	asMarkdown(root)
	now := a.clock.Now()
	header := &doc.GenManHeader{Section: "1", Date: &now, Source: "stumble " + root.Version, Manual: "stumble"}
	err := doc.GenManTreeFromOpts(root, doc.GenManTreeOptions{Header: header, Path: folder, CommandSeparator: "-"})
	if err != nil {
		return fmt.Errorf("the manual pages cannot be written: %w; name another folder", err)
	}
	_, err = fmt.Fprintf(a.out, "the manual pages are in %s\n", folder)
	return err
}

// asMarkdown makes the texts of help what the manual's writer takes: what is to be typed stands four columns in.
func asMarkdown(c *cobra.Command) {
	c.DisableAutoGenTag = true
	paragraphs := strings.Split(c.Long, "\n\n")
	for i, p := range paragraphs {
		if strings.HasPrefix(p, "  ") {
			paragraphs[i] = "    " + strings.ReplaceAll(p, "\n", "\n    ")
		}
	}
	c.Long = strings.Join(paragraphs, "\n\n")
	for _, below := range c.Commands() {
		asMarkdown(below)
	}
}
