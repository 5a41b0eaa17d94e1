package cause

import (
	"slices"
	"strings"
	"unicode"
)

// Symptom is something that the driver or owner reports, by its key in told.csv.
type Symptom string

// knownSymptom is a row of told.csv.
type knownSymptom struct {
	key            Symptom
	group, told    string
	phrases        []string
	speaks         []spoken
	reason, source string
}

// Symptoms lists the keys of all symptoms that the book knows, with how each is told.
func (b *Book) Symptoms() (keys []Symptom, told []string) {
	for i := range b.symptoms {
		keys, told = append(keys, b.symptoms[i].key), append(told, b.symptoms[i].told)
	}
	return keys, told
}

// HearSymptoms finds the symptoms that a text tells of, in the order of the book; none where it tells of none that the
// book knows. Of symptoms whose words lie within those of another the longer is taken: "after filling" is not "filling".
func (b *Book) HearSymptoms(text string) (heard []Symptom) {
	words := plainWords(text)
	for i := range b.symptoms {
		s := &b.symptoms[i]
		phrases := append([]string{strings.ReplaceAll(string(s.key), "_", " ")}, s.phrases...)
		if slices.ContainsFunc(phrases, func(p string) bool { return tells(words, plainWords(p)) }) {
			heard = append(heard, s.key)
		}
	}
	return heard
}

// plainWords are the words of a text in lower case; a hyphen at the end of one is kept.
func plainWords(text string) []string {
	return strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) && r != '-' })
}

// tells reports whether words hold a phrase; a word of it that ends in a hyphen stands for any word that begins so.
func tells(words, phrase []string) bool {
	if len(phrase) == 0 {
		return false
	}
	for at := 0; at+len(phrase) <= len(words); at++ {
		if slices.EqualFunc(words[at:at+len(phrase)], phrase, func(word, wanted string) bool {
			if stem, open := strings.CutSuffix(wanted, "-"); open {
				return strings.HasPrefix(word, stem)
			}
			return word == wanted
		}) {
			return true
		}
	}
	return false
}

// symptom finds a symptom by its key.
func (b *Book) symptom(key Symptom) *knownSymptom {
	for i := range b.symptoms {
		if b.symptoms[i].key == key {
			return &b.symptoms[i]
		}
	}
	return nil
}

// told puts what the driver reports as facts.
func (e *Evidence) told(b *Book, put func(Fact)) {
	for _, key := range e.Told {
		s := b.symptom(key)
		if s == nil || len(s.speaks) == 0 {
			continue
		}
		put(Fact{Feature: "told_" + string(key), Weights: []float64{1, 0}, Found: Telling{Kind: ToldByDriver, Table: s.told},
			group: s.group, rows: b.rowsOf(s.speaks, oftenTold, s.reason, s.source)})
	}
}
