// Package say puts results into words: what a drive, a comparison or a ranking of causes comes to, as sentences that
// screen, lines, page and JSON share. Packages below it give kinds and numbers; the texts stand in package catalogue,
// a file a language.
package say
