package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestHelp(t *testing.T) {
	all := stumble(t, "help")
	requireDone(t, all)
	golden(t, "help.txt", all.out)
	for line := range strings.Lines(all.out) {
		assert.LessOrEqual(t, len(line), textWidth+1, line)
	}
	for _, c := range commands(t) {
		assert.Contains(t, all.out, "  "+c.Name()+" ")
		o := stumble(t, c.Name(), "--help")
		requireDone(t, o)
		golden(t, "help-"+c.Name()+".txt", o.out)
		assert.Equal(t, o, stumble(t, "help", c.Name()))
		assert.Equal(t, o, stumble(t, c.Name(), "-h"))

		_, example, found := strings.Cut(o.out, "\nexample:\n  stumble "+c.Name())
		assert.True(t, found, "%s has an example", c.Name())
		assert.Equal(t, 1, strings.Count(example, "\n"), "the example is one line, and the last")
		for line := range strings.Lines(o.out) {
			assert.LessOrEqual(t, len(line), textWidth+1, "%s: %s", c.Name(), line)
		}
	}
	for _, other := range []string{"-h", "-help", "--help"} {
		assert.Equal(t, all, stumble(t, other))
	}
}

func TestNothingSaidIsToldWhatThereIs(t *testing.T) {
	o := stumble(t)
	assert.Equal(t, statusUsage, o.status)
	assert.Empty(t, o.out)
	assert.Equal(t, stumble(t, "help").out, o.errs)
	assert.Equal(t, o, stumble(t, "--"))
}

// A command line that cannot be carried out is told so on one line, and nothing is tried.
func TestWrongUsage(t *testing.T) {
	table := filepath.Join(t.TempDir(), "engines.csv")
	require.NoError(t, os.WriteFile(table, []byte("key,firing_order\nours,1-3-3-2\n"), 0o600))
	for _, c := range []struct{ args, says string }{
		{"frobnicate", `no command "frobnicate"; 'stumble help' lists them`},
		{"wacth", `no command "wacth"; did you mean watch? 'stumble help' lists them`},
		{"help frobnicate", `no command "frobnicate"`},
		{"--port sim", "there is no option --port; options stand behind a command, and 'stumble help' lists those"},
		{"--port sim codes --colour", "there is no option --colour"},
		{"watch --colour", "there is no option --colour; 'stumble watch --help' lists the options"},
		{"watch --prot sim", "there is no option --prot; did you mean --port? 'stumble watch --help' lists the options"},
		{"watch -port sim", "there is no option -port; did you mean --port? 'stumble watch --help' lists the options"},
		{"watch --foo", "there is no option --foo; did you mean --for? 'stumble watch --help' lists the options"},
		{"watch -x", "there is no option -x; 'stumble watch --help' lists the options"},
		{"watch --=x", `"--=x" is no option; 'stumble watch --help' lists the options`},
		{"completion", "say for which shell: bash, zsh, fish or powershell"},
		{"completion tcsh", `"tcsh" is one argument too many`},
		{"completion fish now", `"now" is one argument too many; 'stumble completion fish --help'`},
		{"watch now", `"now" is one argument too many`},
		{"codes all", `"all" is one argument too many`},
		{"simulate wren rook --pty", `"rook" is one argument too many`},
		{"watch --port", "a value is missing after --port"},
		{"watch --plain=perhaps", `--plain cannot be "perhaps": leave the value out, or give true or false; 'stumble watch --help'`},
		{"watch --port sim --plain --json", "--plain and --json exclude each other: choose one"},
		{"watch --port tcp://127.0.0.1:1 --plain --seed 3", "--seed is for the simulated car"},
		{"watch --port sim --seed -1", `--seed cannot be "-1": give a whole number from 0 on; 'stumble watch --help'`},
		{"watch --balance --rounds many", `--rounds cannot be "many": give a whole number`},
		{"compare --ceiling low", `--ceiling cannot be "low": give a number`},
		{"watch --port sim --speed fast", "give a number up to 1000, or max"},
		{"watch --port sim --speed 0", "give a number up to 1000, or max"},
		{"watch --port sim --speed NaN", "give a number up to 1000, or max"},
		{"watch --port sim --speed 1e9", "give a number up to 1000, or max"},
		{"watch --port /dev/ttyUSB0 --speed 2 --plain", "real time cannot be hurried; leave it out, or use --port sim"},
		{"codes --port tcp://192.0.2.1 --speed max", "real time cannot be hurried"},
		{"watch --port sim --plain --for soon", "give a length of time such as 90s or 10m"},
		{"watch --port sim --plain --for 0s", "give a length of time such as 90s or 10m"},
		{"watch --port sim --plain --for -5m", "give a length of time such as 90s or 10m"},
		{"watch --port sim:frobnicate --plain", `no scenario "frobnicate"; 'stumble simulate --list' tells them all`},
		{"codes --port sim:wren+wren", `no scenario "wren+wren"`},
		{"simulate frobnicate --pty", `no scenario "frobnicate"`},
		{"watch --port ttyUSB0 --plain", "give it in full: /dev/ttyUSB0"},
		{"watch --port 192.0.2.1:35000 --plain", "write it as tcp://192.0.2.1:35000"},
		{"watch --port tcp://:35000 --plain", "write tcp://HOST:PORT"},
		{"watch --port tcp://host:99999 --plain", `"99999" is no port number`},
		{"watch --port http://host/ --plain", `cannot speak "http" to an adapter`},
		{"watch --port sim --plain --engine rotary", "'stumble watch --engine help' lists the layouts"},
		{"watch --port sim --plain --engine 99", "give a number from 1 to 16"},
		{"watch --port sim:wren --plain --engine 2 --speed max", "the car counts the misses of 4 cylinders, the engine chosen has 2"},
		{"watch --port sim --plain --map 1,2,2,4", `cylinder map "1,2,2,4"`},
		{"watch --port sim:wren --plain --map 1,3,2 --speed max", "--map names 3 cylinders, the engine has 4"},
		{"watch --port sim --plain --engine 4 --map 1,3,2", "names 3 cylinders, the engine has 4"},
		{"watch --port sim --plain --map firing-order", "name its layout, or give the map as 1,3,4,2"},
		{"watch --port sim --plain --engines " + filepath.Join(t.TempDir(), "none.csv"), "check what --engines names"},
		{"watch --port sim --plain --engines " + table, "engines.csv: line 2, firing_order"},
		{"simulate", "say how to serve: --listen HOST:PORT or --pty"},
		{"simulate --pty --listen 127.0.0.1:0", "--listen and --pty exclude each other: choose one"},
		{"simulate --pty --speed max", "give a number"},
		{"demo --speed max", "the screen cannot show a drive at max; give a number, or --plain"},
		{"demo fast", `"fast" is one argument too many`},
	} {
		t.Run(c.args, func(t *testing.T) {
			requireOneLine(t, stumble(t, strings.Fields(c.args)...), statusUsage, c.says)
		})
	}
}

func TestLists(t *testing.T) {
	scenarios := stumble(t, "simulate", "--list")
	requireDone(t, scenarios)
	for line := range strings.Lines(scenarios.out) {
		name, what, found := strings.Cut(line, "  ")
		assert.True(t, found && strings.TrimSpace(what) != "", "%q is a name and what it is", line)
		assert.NotContains(t, name, " ")
	}
	assert.Contains(t, scenarios.out, "wren ")

	engines := stumble(t, "watch", "--engine", "help")
	requireDone(t, engines)
	assert.Contains(t, engines.out, "i4-1342")
	assert.Contains(t, engines.out, "order 1-3-4-2; may share a coil: 1+4 2+3")
}

// The user's own layouts are found before the built-in ones, whatever their line ends.
func TestOwnEngines(t *testing.T) {
	table := filepath.Join(t.TempDir(), "engines.csv")
	require.NoError(t, os.WriteFile(table, []byte("key,name,firing_order\r\nours,our four,1-2-4-3\r\n"), 0o600))
	o := stumble(t, "watch", "--engines", table, "--engine", "help")
	requireDone(t, o)
	first, _, _ := strings.Cut(o.out, "\n")
	assert.Contains(t, first, "our four; order 1-2-4-3")

	o = stepped(t, "watch", "--port", "sim:wren", "--speed", "max", "--for", "30s", "--json", "--engines", table, "--engine", "ours")
	requireDone(t, o)
	summary := jsonLines(t, lastLines(o.out, 1)[0])[0]
	assert.Equal(t, "ours", summary["engine"].(map[string]any)["layout"])
}

// full is an output that takes no more.
type full struct{ bytes.Buffer }

func (*full) Write([]byte) (int, error) { return 0, os.ErrClosed }

// What cannot be written is a failure, not a silence: a full disk must not pass for a healthy engine.
func TestOutputThatFails(t *testing.T) {
	for _, args := range []string{
		"codes --port sim --speed max", "codes --port sim --speed max --json", "intake --port sim --speed max",
		"watch --port sim --speed max --plain --for 30s", "watch --port sim --speed max --json --for 30s",
		"demo --plain", "simulate --list", "watch --engine help", "ports --names /dev/ttyUSB0", "simulate --listen 127.0.0.1:0", "help",
	} {
		t.Run(args, func(t *testing.T) {
			var errs buffer
			status := run(t.Context(), strings.Fields(args), strings.NewReader(""), &full{}, &errs, environment(nil))
			assert.Equal(t, statusFailed, status)
			lines := lastLines(errs.String(), 1)
			assert.Contains(t, lines[0], os.ErrClosed.Error())
		})
	}
}
