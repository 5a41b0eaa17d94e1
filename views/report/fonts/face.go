package fonts

import (
	"bytes"
	"compress/gzip"
	"embed"
	"fmt"
	"io"
	"math"

	"codeberg.org/go-fonts/dejavu/dejavusans"
	"codeberg.org/go-fonts/dejavu/dejavusansbold"
	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/language"
)

//go:embed data/*.ttf.gz
var data embed.FS

// Face is one face of type. It is for one goroutine.
type Face struct {
	Name  string
	Bold  bool // it is bold by itself, and need not be made so
	TTF   []byte
	face  *font.Face
	upem  float64
	plain [0x250]uint16 // advances of Latin letters, in thousandths of an em; 0 where not looked up yet
}

func newFace(name string, bold bool, ttf []byte) (*Face, error) {
	parsed, err := font.ParseTTF(bytes.NewReader(ttf))
	if err != nil {
		return nil, fmt.Errorf("reading the face %s: %w", name, err)
	}
	return &Face{Name: name, Bold: bold, TTF: ttf, face: parsed, upem: float64(parsed.Upem())}, nil
}

// has reports whether the face has a letter.
func (f *Face) has(r rune) bool {
	_, ok := f.face.NominalGlyph(r)
	return ok
}

// advance is how wide a letter is, in ems, to the thousandth that a document keeps.
func (f *Face) advance(r rune) float64 {
	if int(r) < len(f.plain) {
		if f.plain[r] == 0 {
			f.plain[r] = uint16(f.thousandths(r))
		}
		return float64(f.plain[r]) / 1000
	}
	return f.thousandths(r) / 1000
}

func (f *Face) thousandths(r rune) float64 {
	gid, _ := f.face.NominalGlyph(r)
	return math.Round(1000 * float64(f.face.HorizontalAdvance(gid)) / f.upem)
}

// source is a face that can be opened.
type source struct {
	name    string
	bold    bool
	file    string // in the folder data; else it comes with a module
	builtin func() []byte
}

// Places in sources. Each upright face of a module has its bold one behind it.
const (
	liberation = iota
	liberationBold
	dejavu
	dejavuBold
	droid
	firstNoto
)

var sources = []source{
	liberation:     {name: "LiberationSans", builtin: func() []byte { return liberationsansregular.TTF }},
	liberationBold: {name: "LiberationSansBold", bold: true, builtin: func() []byte { return liberationsansbold.TTF }},
	dejavu:         {name: "DejaVuSans", builtin: func() []byte { return dejavusans.TTF }},
	dejavuBold:     {name: "DejaVuSansBold", bold: true, builtin: func() []byte { return dejavusansbold.TTF }},
	droid:          {name: "DroidSansFallback", file: "DroidSansFallback"},
	firstNoto:      {name: "NotoSansDevanagari", file: "NotoSansDevanagari"},
	{name: "NotoSansBengali", file: "NotoSansBengali"},
	{name: "NotoSansGurmukhi", file: "NotoSansGurmukhi"},
	{name: "NotoSansGujarati", file: "NotoSansGujarati"},
	{name: "NotoSansOriya", file: "NotoSansOriya"},
	{name: "NotoSansTamil", file: "NotoSansTamil"},
	{name: "NotoSansTelugu", file: "NotoSansTelugu"},
	{name: "NotoSansKannada", file: "NotoSansKannada"},
	{name: "NotoSansMalayalam", file: "NotoSansMalayalam"},
	{name: "NotoSansSinhala", file: "NotoSansSinhala"},
	{name: "NotoSansThai", file: "NotoSansThai"},
	{name: "NotoSansLao", file: "NotoSansLao"},
	{name: "NotoSansKhmer", file: "NotoSansKhmer"},
	{name: "NotoSansMyanmar", file: "NotoSansMyanmar"},
	{name: "NotoSansEthiopic", file: "NotoSansEthiopic"},
}

// notoScripts are the scripts of the Noto faces, in their order.
var notoScripts = []language.Script{
	language.Devanagari, language.Bengali, language.Gurmukhi, language.Gujarati, language.Oriya, language.Tamil, language.Telugu,
	language.Kannada, language.Malayalam, language.Sinhala, language.Thai, language.Lao, language.Khmer, language.Myanmar,
	language.Ethiopic,
}

// candidates are the places of the faces that may have a letter of a script, the best first.
func candidates(script language.Script, bold bool) []int {
	first, second := liberation, dejavu
	if bold {
		first, second = liberationBold, dejavuBold
	}
	switch script {
	case language.Arabic:
		return []int{second} // Liberation Sans has some of its letters, but not their forms
	case language.Han, language.Hiragana, language.Katakana, language.Hangul, language.Bopomofo:
		return []int{droid}
	}
	for i, s := range notoScripts {
		if s == script {
			return []int{firstNoto + i}
		}
	}
	return []int{first, second, dejavu, droid}
}

// open reads a face.
func (s *source) open() (*Face, error) {
	if s.builtin != nil {
		return newFace(s.name, s.bold, s.builtin())
	}
	packed, err := data.Open("data/" + s.file + ".ttf.gz")
	if err != nil {
		return nil, fmt.Errorf("opening the face %s: %w", s.name, err)
	}
	defer packed.Close()
	unpacked, err := gzip.NewReader(packed)
	if err != nil {
		return nil, fmt.Errorf("unpacking the face %s: %w", s.name, err)
	}
	ttf, err := io.ReadAll(unpacked)
	if err != nil {
		return nil, fmt.Errorf("unpacking the face %s: %w", s.name, err)
	}
	return newFace(s.name, s.bold, ttf)
}
