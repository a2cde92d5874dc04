package wire

import (
	"bytes"
	"fmt"
	"strings"

	"askwright/api/web"
	"askwright/service/history"
)

// StoryEntry is one thing that happened to a piece.
type StoryEntry struct {
	On      *string `json:"on,omitempty" format:"date"`                                   // absent: the day is not known
	Kind    string  `json:"kind" example:"listed" csv:"plain"`                            // bought, finished, listed, ask, pause, sold, refinish ...
	Ref     string  `json:"ref" example:"B-17"`                                           // of the row it belongs to
	Text    string  `json:"text" example:"Sold for 300 of 310 asked after 6 days"`        // in plain words
	Figures figures `json:"figures,omitempty" swaggertype:"object,number" csv:"embedded"` // amounts, days, hours and counts by name
}

// StoryPage is all that happened to a piece, in order.
type StoryPage struct {
	Items []StoryEntry `json:"items"`
	Next  *string      `json:"next"`
}

// figures are written as an object, in their order.
type figures []history.Figure

// MarshalJSON implements json.Marshaler.
func (f figures) MarshalJSON() ([]byte, error) {
	var out bytes.Buffer
	out.WriteByte('{')
	for i, one := range f {
		value, err := web.Number(one.Value).MarshalJSON()
		if err != nil {
			return nil, err
		}
		if i > 0 {
			out.WriteByte(',')
		}
		fmt.Fprintf(&out, "%q:%s", one.Name, value)
	}
	out.WriteByte('}')
	return out.Bytes(), nil
}

// InCell is the figures in a table.
func (f figures) InCell() string {
	parts := make([]string, len(f))
	for i, one := range f {
		parts[i] = one.Name + ":" + one.Value
	}
	return strings.Join(parts, ";")
}

// StoryEntries shows what happened to a piece.
func StoryEntries(entries []history.Entry) []StoryEntry {
	out := make([]StoryEntry, len(entries))
	for i, e := range entries {
		out[i] = StoryEntry{On: optionalDay(e.On), Kind: e.Kind, Ref: e.Ref, Text: e.Text, Figures: e.Figures}
	}
	return out
}

// StoryColumns are the columns of a piece's story.
var StoryColumns = web.ColumnsOf[StoryEntry](`
	on kind ref text figures`)
