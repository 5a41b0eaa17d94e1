package main

import (
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
)

// A reader that leaves early, as head does, does not kill the program: it says on one line that nobody reads.
func TestPipeThatIsClosed(t *testing.T) {
	program, err := built()
	require.NoError(t, err)
	reader, writer, err := os.Pipe()
	require.NoError(t, err)
	require.NoError(t, reader.Close())
	defer writer.Close()
	var errs buffer
	cmd := exec.Command(program, "export", "1", "--journal", aDrive(t))
	cmd.Stdout, cmd.Stderr = writer, &errs
	var ended *exec.ExitError
	require.ErrorAs(t, cmd.Run(), &ended)
	requireOneLine(t, outcome{status: ended.ExitCode(), errs: errs.String()}, statusFailed, "cannot write the result: ", "broken pipe")
}
