package wire

import (
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service"
	"askwright/service/advice"
)

// Comparable is a listing adjusted to the subject, line by line.
type Comparable struct {
	ID            uuid.UUID    `json:"id" format:"uuid"`
	Ref           string       `json:"ref"`
	Member        string       `json:"member"`
	Category      string       `json:"category"`
	Outcome       string       `json:"outcome" enums:"open,sold,pulled"`
	ListedOn      string       `json:"listed_on" format:"date"`
	EndedOn       *string      `json:"ended_on,omitempty" format:"date"`
	ActiveDays    int          `json:"active_days"`
	Ask           *web.Number  `json:"ask,omitempty" swaggertype:"number"`            // the last one
	SalePrice     *web.Number  `json:"sale_price,omitempty" swaggertype:"number"`     // of a sold one
	Distance      web.Number   `json:"distance" swaggertype:"number"`                 // sum of the adjustments' sizes in log terms; the order of the list
	Weak          bool         `json:"weak"`                                          // so far off that it says little
	AdjustedPrice *web.Number  `json:"adjusted_price,omitempty" swaggertype:"number"` // of a sold one
	AdjustedAsk   *web.Number  `json:"adjusted_ask,omitempty" swaggertype:"number"`
	Adjustments   []Adjustment `json:"adjustments" csv:"embedded"`
	NetPercent    web.Number   `json:"net_percent" swaggertype:"number"`
	GrossPercent  web.Number   `json:"gross_percent" swaggertype:"number"`
}

// Adjustment is one line of the grid.
type Adjustment struct {
	Term    string     `json:"term" example:"size"`
	Percent web.Number `json:"percent" swaggertype:"number"`
	Money   web.Number `json:"money" swaggertype:"number"`
}

// InCell is the adjustment in a table.
func (a Adjustment) InCell() string { return a.Term + ":" + string(a.Percent) }

// ComparablePage is the comparables of a subject, the nearest first.
type ComparablePage struct {
	Items []Comparable `json:"items"`
	Next  *string      `json:"next"` // null: the list is whole
}

// Comparable shows a comparable.
func (v Viewer) Comparable(f advice.Comparable) Comparable {
	money := web.MoneyIn(v.Currency)
	out := Comparable{
		ActiveDays: f.ActiveDays, Ask: web.Known(f.Ask, money), SalePrice: web.Known(f.SalePrice, money), Distance: web.Chance(f.Distance),
		Weak: f.Weak, AdjustedPrice: web.Known(f.AdjustedPrice, money), AdjustedAsk: web.Known(f.AdjustedAsk, money),
		Adjustments: make([]Adjustment, len(f.Adjustments)), NetPercent: web.Percentage(f.NetPercent), GrossPercent: web.Percentage(f.GrossPercent),
	}
	for i, line := range f.Adjustments {
		out.Adjustments[i] = Adjustment{Term: line.Term, Percent: web.Percentage(line.Percent), Money: money(line.Money)}
	}
	if r := f.Row; r != nil {
		out.ID, out.Ref, out.Member, out.Category, out.Outcome = r.ID, r.Ref, r.Member, r.Category, r.Outcome
		out.ListedOn, out.EndedOn = r.ListedOn.String(), optionalDay(r.EndedOn)
	}
	return out
}

// ComparableColumns are the columns of comparables.
var ComparableColumns = web.ColumnsOf[Comparable](`
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
	web.TableQuery
	Subject advice.Subject `swaggerignore:"true"` // the columns of it that were sent
}

// FromQuery reads the columns of the subject by their names in the registry.
func (q *ComparableQuery) FromQuery(p *web.Params, _ string) {
	q.Subject = advice.Subject{}
	for _, name := range subjectColumns {
		if p.Has(name) {
			q.Subject[name] = p.Text(name)
		}
	}
	q.Limit = p.Count("limit", comparablesDefault, comparablesMost)
	web.BindQuery(p, &q.TableQuery)
}
