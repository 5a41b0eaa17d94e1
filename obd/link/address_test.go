package link_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/obd/link"
)

func TestParseAddress(t *testing.T) {
	serial := func(path string) link.Address { return link.Address{Kind: link.SerialPort, Path: path} }
	network := func(host string) link.Address { return link.Address{Kind: link.Network, Host: host} }
	for where, want := range map[string]link.Address{
		"":                          {Kind: link.Search},
		"  ":                        {Kind: link.Search},
		"sim":                       {Kind: link.Simulated},
		"SIM":                       {Kind: link.Simulated},
		"sim:lean-bank":             {Kind: link.Simulated, Scenario: "lean-bank"},
		"/dev/ttyUSB0":              serial("/dev/ttyUSB0"),
		" /dev/ttyUSB0 ":            serial("/dev/ttyUSB0"),
		"/dev/cu.usbserial-10":      serial("/dev/cu.usbserial-10"),
		"./my port":                 serial("./my port"),
		"com3":                      serial("COM3"),
		"COM12":                     serial("COM12"),
		`\\.\COM12`:                 serial(`\\.\COM12`),
		"tcp://192.168.0.10:35000":  network("192.168.0.10:35000"),
		"tcp://192.168.0.10":        network("192.168.0.10:35000"),
		"TCP://adapter.lan:23":      network("adapter.lan:23"),
		"tcp://[::1]:2000":          network("[::1]:2000"),
		"tcp://[fe80::1%eth0]":      network("[fe80::1%eth0]:35000"),
		"tcp://localhost:000035000": network("localhost:35000"),
	} {
		got, err := link.ParseAddress(where)
		require.NoError(t, err, where)
		assert.Equal(t, want, got, where)
	}
}

func TestParseAddressRefusesNonsense(t *testing.T) {
	for where, says := range map[string]string{
		"sim:":                     "just sim",
		"sim: ":                    "just sim",
		"sim:a b":                  "names no scenario",
		"simm":                     "sim:SCENARIO",
		"ttyUSB0":                  "/dev/ttyUSB0",
		"COM":                      "no place for an adapter",
		"COM0":                     "no place for an adapter",
		"COMX":                     "no place for an adapter",
		"192.168.0.10":             "write it as tcp://192.168.0.10",
		"192.168.0.10:35000":       "write it as tcp://192.168.0.10:35000",
		"adapter:35000":            "write it as tcp://adapter:35000",
		"udp://192.168.0.10":       `cannot speak "udp"`,
		"://x":                     `cannot speak ""`,
		"tcp://":                   "names no host",
		"tcp://:35000":             "names no host",
		"tcp://[]:35000":           "names no host",
		"tcp://host:":              `"" is no port number`,
		"tcp://host:0":             `"0" is no port number`,
		"tcp://host:65536":         `"65536" is no port number`,
		"tcp://host:-1":            `"-1" is no port number`,
		"tcp://host:http":          `"http" is no port number`,
		"tcp://host:1:2":           "cannot tell the host from the port",
		"tcp://::1":                "in brackets: tcp://[::1]:35000",
		"tcp://host/path":          "only a host and a port",
		"tcp://user@host":          "only a host and a port",
		"tcp://192.168.0.10 35000": "only a host and a port",
		"tcp://[::1":               "cannot tell the host from the port",
		"/dev/tty\nUSB0":           "control character",
		"/dev/tty\x00":             "control character",
	} {
		got, err := link.ParseAddress(where)
		require.Error(t, err, where)
		assert.Zero(t, got, where)
		assert.Contains(t, err.Error(), says, where)
		assert.NotContains(t, err.Error(), "\n", where)
	}
}

func FuzzParseAddress(f *testing.F) {
	for _, seed := range []string{"", "sim", "sim:x", "/dev/ttyUSB0", "COM3", "tcp://h:1", "tcp://[::1]", "tcp://[fe80::1%a]:2", "x:y"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, where string) {
		got, err := link.ParseAddress(where)
		if err != nil {
			assert.NotContains(t, err.Error(), "\n")
			return
		}
		again, err := link.ParseAddress(got.String())
		require.NoError(t, err)
		assert.Equal(t, got, again)
	})
}
