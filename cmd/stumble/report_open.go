package main

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"runtime"
)

// opener is the system's program that shows a file in whatever the user reads such files with.
func opener(goos string) []string {
	switch goos {
	case "windows":
		return []string{"rundll32", "url.dll,FileProtocolHandler"}
	case "darwin":
		return []string{"open"}
	}
	return []string{"xdg-open"}
}

// openFile shows a file to the user and does not wait until it was read.
func openFile(path string) error {
	command := opener(runtime.GOOS)
	program, err := exec.LookPath(command[0])
	if err != nil {
		return fmt.Errorf("%s is written, but there is no %s here to open it with: open it yourself", path, command[0])
	}
	full, err := filepath.Abs(path)
	if err != nil {
		return err
	}
	start := exec.Command(program, append(command[1:], full)...)
	if err := start.Start(); err != nil {
		return fmt.Errorf("%s is written, but cannot be opened: %w; open it yourself", path, err)
	}
	return start.Process.Release()
}
