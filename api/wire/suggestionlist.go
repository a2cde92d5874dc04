package wire

import (
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service/advice"
)

// OpenSuggestion is the answer for an open listing.
type OpenSuggestion struct {
	ID         uuid.UUID   `json:"id" format:"uuid"`
	Member     string      `json:"member"`
	Category   string      `json:"category"`
	ListedOn   string      `json:"listed_on" format:"date"`
	PresentAsk *web.Number `json:"present_ask,omitempty" swaggertype:"number"`
	Suggestion
}

// OpenSuggestionPage is the suggestions for the open listings, by ref.
type OpenSuggestionPage struct {
	Items []OpenSuggestion `json:"items"`
	Next  *string          `json:"next"` // null: the list is whole
}

// OpenSuggestion shows the suggestion for an open listing.
func (v Viewer) OpenSuggestion(f advice.OpenSuggestion, within int) OpenSuggestion {
	out := OpenSuggestion{
		ID: f.Row.ID, Member: f.Row.Member, Category: f.Row.Category, ListedOn: f.Row.ListedOn.String(),
		Suggestion: v.Suggestion(f.Suggestion, within),
	}
	if m := f.Row.CurrentAsk(); m != 0 {
		ask := web.Exact(m, v.Currency)
		out.PresentAsk = &ask
	}
	return out
}

// choice is the ask of one of the three choices.
func (s Suggestion) choice(name string) *web.Number {
	for _, c := range s.Choices {
		if c.Name == name {
			return &c.Ask
		}
	}
	return nil
}

// advice is the answer in words: also why there is none.
func (s Suggestion) advice() string {
	words := joined(s.Sentences)
	if s.Refusal != nil && !strings.Contains(words, s.Refusal.Detail) {
		words = strings.TrimSpace(words + " " + s.Refusal.Detail)
	}
	return words
}

// AdviceColumns are one line for a suggestion.
var AdviceColumns = slices.Concat(
	web.ColumnsOf[Suggestion](`
	ref suggested_ask=ask ask_for_good next_step_on next_ask likely_price=sale_price.likely low_price=sale_price.low high_price=sale_price.high
	chance_sold=chance_sold.probability within_days=chance_sold.within_days median_days=days.median`),
	[]web.TableColumn[Suggestion]{
		{Name: "quick_ask", Kind: web.NumberCell, Value: func(v Suggestion) string { return v.choice("quick").Text() }},
		{Name: "patient_ask", Kind: web.NumberCell, Value: func(v Suggestion) string { return v.choice("patient").Text() }},
	},
	web.ColumnsOf[Suggestion](`sold=basis.sold unsold=basis.unsold refusal=refusal.reason`),
	[]web.TableColumn[Suggestion]{{Name: "advice", Kind: web.TextCell, Value: Suggestion.advice}},
)

// AdviceTable has a line for each subject.
var AdviceTable = web.TableOf(AdviceColumns, func(a SuggestionsAnswer) []Suggestion { return a.Items })

// SuggestionColumns are adviceColumns with what is on file.
var SuggestionColumns = func() []web.TableColumn[OpenSuggestion] {
	columns := web.ColumnsOf[OpenSuggestion](`ref id member category listed_on ask=present_ask`)
	for _, c := range AdviceColumns[1:] {
		columns = append(columns, web.TableColumn[OpenSuggestion]{Name: c.Name, Kind: c.Kind, Value: func(v OpenSuggestion) string { return c.Value(v.Suggestion) }})
	}
	return columns
}()

// SuggestionQuery is what the suggestions can be asked for.
type SuggestionQuery struct {
	Member     string `form:"member"`                             // me, an id or a name
	WithinDays int    `form:"within_days" default:"30" max:"730"` // 1 to 730
	web.TableQuery
}

// WithinQuery is in how many days a piece is to be sold.
type WithinQuery struct {
	WithinDays int `form:"within_days" default:"30" max:"730"`
}
