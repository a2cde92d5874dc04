package api

import (
	"bytes"
	"fmt"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/service"
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

// figures are written as an object, in their order.
type figures []history.Figure

// MarshalJSON implements json.Marshaler.
func (f figures) MarshalJSON() ([]byte, error) {
	var out bytes.Buffer
	out.WriteByte('{')
	for i, one := range f {
		value, err := number(one.Value).MarshalJSON()
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

func (f figures) code() string {
	parts := make([]string, len(f))
	for i, one := range f {
		parts[i] = one.Name + ":" + one.Value
	}
	return strings.Join(parts, ";")
}

func storyEntries(entries []history.Entry) []StoryEntry {
	out := make([]StoryEntry, len(entries))
	for i, e := range entries {
		out[i] = StoryEntry{On: optionalDay(e.On), Kind: e.Kind, Ref: e.Ref, Text: e.Text, Figures: e.Figures}
	}
	return out
}

var storyColumns = columnsOf[StoryEntry](`
	on kind ref text figures`)

// getStory answers with the story as a table.
//
//	@Summary	Read a piece's story as a table
//	@Tags		pieces
//	@Param		id		path	string		true	"id"
//	@Param		query	query	TableQuery	false	"form"
//	@Produce	text/csv,application/problem+json
//	@Success	200		{string}	string	"on, kind, ref, text, figures"
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/pieces/{id}/story.csv [get]
func (s *Server) getStory(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	options := tableParams(p, columnNames(storyColumns))
	if err := p.done(); err != nil {
		return err
	}
	if notModified(c, s.listTag(c, a, formCSV)) {
		return nil
	}
	piece, err := s.service.Recording.Piece(c.Request.Context(), a, id)
	if err != nil {
		return err
	}
	story, err := s.service.History.Story(c.Request.Context(), a, piece)
	if err != nil {
		return err
	}
	return writeTable(c, "story.csv", storyColumns, options, storyEntries(story))
}
