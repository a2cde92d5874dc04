package api

import (
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/service/advice"
)

// OpenSuggestion is the answer for an open listing.
type OpenSuggestion struct {
	ID         uuid.UUID `json:"id" format:"uuid"`
	Member     string    `json:"member"`
	Category   string    `json:"category"`
	ListedOn   string    `json:"listed_on" format:"date"`
	PresentAsk *number   `json:"present_ask,omitempty" swaggertype:"number"`
	Suggestion
}

// OpenSuggestionPage is the suggestions for the open listings, by ref.
type OpenSuggestionPage struct {
	Items []OpenSuggestion `json:"items"`
}

func (v viewer) openSuggestion(f advice.OpenSuggestion, within int) OpenSuggestion {
	out := OpenSuggestion{
		ID: f.Row.ID, Member: f.Row.Member, Category: f.Row.Category, ListedOn: f.Row.ListedOn.String(),
		Suggestion: v.suggestion(f.Suggestion, within),
	}
	if m := f.Row.CurrentAsk(); m != 0 {
		ask := exact(m, v.currency)
		out.PresentAsk = &ask
	}
	return out
}

// choice is the ask of one of the three choices.
func (s Suggestion) choice(name string) *number {
	for _, c := range s.Choices {
		if c.Name == name {
			return &c.Ask
		}
	}
	return nil
}

// advice is the answer in words: also why there is none.
func (s Suggestion) advice() string {
	words := strings.Join(s.Sentences, " ")
	if s.Refusal != nil && !strings.Contains(words, s.Refusal.Detail) {
		words = strings.TrimSpace(words + " " + s.Refusal.Detail)
	}
	return words
}

// adviceColumns are one line for a suggestion.
var adviceColumns = slices.Concat(
	columnsOf[Suggestion](`
	ref suggested_ask=ask likely_price=sale_price.likely low_price=sale_price.low high_price=sale_price.high
	chance_sold=chance_sold.probability within_days=chance_sold.within_days median_days=days.median`),
	[]tableColumn[Suggestion]{
		{name: "quick_ask", kind: numberCell, value: func(v Suggestion) string { return v.choice("quick").text() }},
		{name: "patient_ask", kind: numberCell, value: func(v Suggestion) string { return v.choice("patient").text() }},
	},
	columnsOf[Suggestion](`sold=basis.sold unsold=basis.unsold refusal=refusal.reason`),
	[]tableColumn[Suggestion]{{name: "advice", kind: textCell, value: Suggestion.advice}},
)

// suggestionColumns are adviceColumns with what is on file.
var suggestionColumns = func() []tableColumn[OpenSuggestion] {
	columns := columnsOf[OpenSuggestion](`ref id member category listed_on ask=present_ask`)
	for _, c := range adviceColumns[1:] {
		columns = append(columns, tableColumn[OpenSuggestion]{name: c.name, kind: c.kind, value: func(v OpenSuggestion) string { return c.value(v.Suggestion) }})
	}
	return columns
}()

func (s Suggestion) price(which func(*PriceRange) number) string {
	if s.SalePrice == nil {
		return ""
	}
	return string(which(s.SalePrice))
}

// SuggestionQuery is what the suggestions can be asked for.
type SuggestionQuery struct {
	Member     string `form:"member"`                             // me, an id or a name
	WithinDays int    `form:"within_days" default:"30" max:"730"` // 1 to 730
	TableQuery
}

// listSuggestions answers for the group's own open listings, at their ages.
//
//	@Summary	Suggest asking prices for the open listings
//	@Tags		advice
//	@Param		query	query	SuggestionQuery	false	"filters"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	OpenSuggestionPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/suggestions [get]
//	@Router		/v1/suggestions.csv [get]
func (s *Server) listSuggestions(r request, in SuggestionQuery) ([]OpenSuggestion, error) {
	member, err := s.memberNamed(r, in.Member)
	if err != nil {
		return nil, err
	}
	found, err := s.service.Advice.SuggestOpen(r.Request.Context(), r.actor, member, in.WithinDays)
	s.requests.owe(r.actor.KeyID.String(), len(found)/subjectsPerUnit)
	v := viewerOf(r.actor)
	return each(found, func(f advice.OpenSuggestion) OpenSuggestion { return v.openSuggestion(f, in.WithinDays) }), err
}

func (p *params) withinDays() int {
	within := p.count("within_days", withinDefault, withinMost+1)
	if within > withinMost {
		p.refuse("within_days", "expected 1 to %d", withinMost)
	}
	return within
}
