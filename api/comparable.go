package api

import (
	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/advice"
)

// Comparable is a listing adjusted to the subject, line by line.
type Comparable struct {
	ID            uuid.UUID    `json:"id" format:"uuid"`
	Ref           string       `json:"ref"`
	Member        string       `json:"member"`
	Category      string       `json:"category"`
	Outcome       string       `json:"outcome" enums:"open,sold,withdrawn"`
	ListedOn      string       `json:"listed_on" format:"date"`
	EndedOn       *string      `json:"ended_on,omitempty" format:"date"`
	ActiveDays    int          `json:"active_days"`
	Ask           *number      `json:"ask,omitempty" swaggertype:"number"`            // the last one
	SalePrice     *number      `json:"sale_price,omitempty" swaggertype:"number"`     // of a sold one
	Distance      number       `json:"distance" swaggertype:"number"`                 // sum of the adjustments' sizes in log terms; the order of the list
	Weak          bool         `json:"weak"`                                          // so far off that it says little
	AdjustedPrice *number      `json:"adjusted_price,omitempty" swaggertype:"number"` // of a sold one
	AdjustedAsk   *number      `json:"adjusted_ask,omitempty" swaggertype:"number"`
	Adjustments   []Adjustment `json:"adjustments" csv:"embedded"`
	NetPercent    number       `json:"net_percent" swaggertype:"number"`
	GrossPercent  number       `json:"gross_percent" swaggertype:"number"`
}

// Adjustment is one line of the grid.
type Adjustment struct {
	Term    string `json:"term" example:"size"`
	Percent number `json:"percent" swaggertype:"number"`
	Money   number `json:"money" swaggertype:"number"`
}

func (a Adjustment) code() string { return a.Term + ":" + string(a.Percent) }

// ComparablePage is the comparables of a subject, the nearest first.
type ComparablePage struct {
	Items []Comparable `json:"items"`
}

func (v viewer) comparable(f advice.Comparable) Comparable {
	money := moneyIn(v.currency)
	out := Comparable{
		ActiveDays: f.ActiveDays, Ask: known(f.Ask, money), SalePrice: known(f.SalePrice, money), Distance: chance(f.Distance),
		Weak: f.Weak, AdjustedPrice: known(f.AdjustedPrice, money), AdjustedAsk: known(f.AdjustedAsk, money),
		Adjustments: make([]Adjustment, len(f.Adjustments)), NetPercent: percentage(f.NetPercent), GrossPercent: percentage(f.GrossPercent),
	}
	for i, line := range f.Adjustments {
		out.Adjustments[i] = Adjustment{Term: line.Term, Percent: percentage(line.Percent), Money: money(line.Money)}
	}
	if r := f.Row; r != nil {
		out.ID, out.Ref, out.Member, out.Category, out.Outcome = r.ID, r.Ref, r.Member, r.Category, r.Outcome
		out.ListedOn, out.EndedOn = r.ListedOn.String(), optionalDay(r.EndedOn)
	}
	return out
}

var comparableColumns = columnsOf[Comparable](`
	ref id member category outcome listed_on active_days ask sale_price distance weak adjusted_price
	net_percent gross_percent adjustments adjusted_ask`)

const comparablesDefault, comparablesMost = 10, 100

// subjectColumns are those that describe a subject in an address.
var subjectColumns = func() []string {
	names := []string{"id"}
	for _, c := range service.Columns {
		if c.ReadOnly || c.OwnerOnly || c.InputOnly {
			continue
		}
		names = append(names, c.Name)
	}
	return names
}()

// ComparableQuery describes the subject: any shared column of a row, category
// being needed; or the id or ref of a listing on file.
type ComparableQuery struct {
	Category  string  `form:"category" example:"sideboard"`
	ID        string  `form:"id" format:"uuid"`
	Ref       string  `form:"ref"`
	Width     float64 `form:"width"`
	Depth     float64 `form:"depth"`
	Height    float64 `form:"height"`
	Unit      string  `form:"unit" enums:"in,cm"`
	Material  string  `form:"material"`
	Wood      string  `form:"wood"`
	Condition string  `form:"condition"`
	Finish    string  `form:"finish"`
	Color     string  `form:"color"`
	Limit     int     `form:"limit" default:"10"` // at most 100
	TableQuery
	subject advice.Subject
}

// fromQuery reads the columns of the subject by their names in the registry.
func (q *ComparableQuery) fromQuery(p *params, _ string) {
	q.subject = advice.Subject{}
	for _, name := range subjectColumns {
		if p.has(name) {
			q.subject[name] = p.text(name)
		}
	}
	q.Limit = p.count("limit", comparablesDefault, comparablesMost)
	bindQuery(p, &q.TableQuery)
}

// listComparables answers with the nearest listings, each adjusted to the
// subject.
//
//	@Summary	Find comparables
//	@Tags		advice
//	@Param		query	query	ComparableQuery	false	"the subject"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	ComparablePage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/comparables [get]
//	@Router		/v1/comparables.csv [get]
func (s *Server) listComparables(r request, in ComparableQuery) ([]Comparable, error) {
	found, err := s.service.Advice.Comparables(r.Request.Context(), r.actor, in.subject, in.Limit)
	return each(found, viewerOf(r.actor).comparable), err
}
