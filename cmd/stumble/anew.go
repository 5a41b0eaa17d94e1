package main

import "github.com/spf13/pflag"

// anewOption asks for what a drive's raw exchanges tell by the rules of today, instead of the samples that were decoded
// from them when it was live: a fault of decoding that was mended since is then mended for old drives too.
type anewOption bool

func (o *anewOption) flags(f *pflag.FlagSet) {
	f.BoolVar((*bool)(o), "anew", false, "decode the drive's raw exchanges anew instead of taking the samples saved with them")
}
