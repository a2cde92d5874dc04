package wire

import (
	"strings"

	"askwright/api/web"
	"askwright/pricing"
)

// Sentence is one thought of an answer for people. Pick by kind; the text may
// be worded anew.
type Sentence struct {
	Kind string `json:"kind" example:"ask"` // docs/api.md tells the kinds
	Text string `json:"text"`
}

// Sentences are never nil.
func Sentences(all []pricing.Sentence) []Sentence {
	return web.Each(all, func(s pricing.Sentence) Sentence { return Sentence(s) })
}

// Said is the text of the first sentence of a kind; "" where there is none.
func Said(all []Sentence, kind string) string {
	for _, s := range all {
		if s.Kind == kind {
			return s.Text
		}
	}
	return ""
}

// joined is the sentences as one text.
func joined(all []Sentence) string {
	return strings.Join(web.Each(all, func(s Sentence) string { return s.Text }), " ")
}
