package api

import (
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
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

func (v viewer) openSuggestion(f service.OpenSuggestion, within int) OpenSuggestion {
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
var adviceColumns = []tableColumn[Suggestion]{
	{"ref", textCell, func(v Suggestion) string { return v.Ref }},
	{"suggested_ask", numberCell, func(v Suggestion) string { return v.Ask.text() }},
	{"likely_price", numberCell, func(v Suggestion) string { return v.price(func(r *PriceRange) number { return r.Likely }) }},
	{"low_price", numberCell, func(v Suggestion) string { return v.price(func(r *PriceRange) number { return r.Low }) }},
	{"high_price", numberCell, func(v Suggestion) string { return v.price(func(r *PriceRange) number { return r.High }) }},
	{"chance_sold", numberCell, func(v Suggestion) string {
		if v.ChanceSold == nil {
			return ""
		}
		return string(v.ChanceSold.Probability)
	}},
	{"within_days", numberCell, func(v Suggestion) string {
		if v.ChanceSold == nil {
			return ""
		}
		return strconv.Itoa(v.ChanceSold.WithinDays)
	}},
	{"median_days", numberCell, func(v Suggestion) string {
		if v.Days == nil || v.Days.Median == nil {
			return ""
		}
		return strconv.Itoa(*v.Days.Median)
	}},
	{"quick_ask", numberCell, func(v Suggestion) string { return v.choice("quick").text() }},
	{"patient_ask", numberCell, func(v Suggestion) string { return v.choice("patient").text() }},
	{"sold", numberCell, func(v Suggestion) string { return strconv.Itoa(v.Basis.Sold) }},
	{"unsold", numberCell, func(v Suggestion) string { return strconv.Itoa(v.Basis.Unsold) }},
	{"refusal", plainCell, func(v Suggestion) string {
		if v.Refusal == nil {
			return ""
		}
		return v.Refusal.Reason
	}},
	{"advice", textCell, func(v Suggestion) string { return v.advice() }},
}

// suggestionColumns are adviceColumns with what is on file.
var suggestionColumns = func() []tableColumn[OpenSuggestion] {
	columns := []tableColumn[OpenSuggestion]{
		{"ref", textCell, func(v OpenSuggestion) string { return v.Ref }},
		{"id", plainCell, func(v OpenSuggestion) string { return v.ID.String() }},
		{"member", textCell, func(v OpenSuggestion) string { return v.Member }},
		{"category", textCell, func(v OpenSuggestion) string { return v.Category }},
		{"listed_on", plainCell, func(v OpenSuggestion) string { return v.ListedOn }},
		{"ask", numberCell, func(v OpenSuggestion) string { return v.PresentAsk.text() }},
	}
	for _, c := range adviceColumns[1:] {
		columns = append(columns, tableColumn[OpenSuggestion]{c.name, c.kind, func(v OpenSuggestion) string { return c.value(v.Suggestion) }})
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
	Member     string `form:"member"`                   // me, an id or a name
	WithinDays int    `form:"within_days" default:"30"` // 1 to 730
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
func (s *Server) listSuggestions(c *gin.Context, a *service.Actor) error {
	return answerList(s, c, a, "suggestions.csv", suggestionColumns, func(p *params) (func() ([]OpenSuggestion, error), error) {
		within := p.withinDays()
		member, err := s.memberFilter(c, a, p)
		return func() ([]OpenSuggestion, error) {
			found, err := s.service.SuggestOpen(c.Request.Context(), a, member, within)
			s.requests.owe(a.KeyID.String(), len(found)/subjectsPerUnit)
			v := viewerOf(a)
			return each(found, func(f service.OpenSuggestion) OpenSuggestion { return v.openSuggestion(f, within) }), err
		}, err
	})
}

func (p *params) withinDays() int {
	within := p.count("within_days", withinDefault, withinMost+1)
	if within > withinMost {
		p.refuse("within_days", "expected 1 to %d", withinMost)
	}
	return within
}
