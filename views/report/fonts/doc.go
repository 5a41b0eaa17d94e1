// Package fonts sets texts in any script with faces that the program brings along: which face has a letter, the order
// of letters on paper (Unicode Bidirectional Algorithm, UAX 9), the shapes of joined letters (OpenType, by HarfBuzz's
// rules), and where a line may be broken (UAX 14). It knows nothing of pages; sizes are in ems.
//
// The faces and their licences, all of which allow embedding in documents:
//
//	Liberation Sans           SIL Open Font License 1.1   Latin, Greek, Cyrillic, Hebrew; module codeberg.org/go-fonts/liberation
//	DejaVu Sans               Bitstream Vera licence      Arabic, Armenian, Georgian, signs; module codeberg.org/go-fonts/dejavu
//	Noto Sans, by script      SIL Open Font License 1.1   scripts of India and south-east Asia, Ethiopic; folder data
//	Droid Sans Fallback       Apache License 2.0          Chinese, Japanese, Korean; folder data
//
// A letter that no face has is told by its code point in a box.
package fonts
