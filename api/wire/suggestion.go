package wire

import (
	"askwright/api/web"
	"askwright/pricing"
	"askwright/pricing/furniture"
	"askwright/pricing/stats"
	"askwright/service"
	"askwright/service/advice"
)

// Suggestion is the answer for one subject. What cannot be answered is left
// out, and refusal says why.
type Suggestion struct {
	Ref         string       `json:"ref,omitempty" example:"B-17"`
	SalePrice   *PriceRange  `json:"sale_price,omitempty"`
	RecordsOnly *PriceRange  `json:"records_only,omitempty"`                           // sale_price by the records alone, without one's own price
	Ask         *web.Number  `json:"ask,omitempty" swaggertype:"number" example:"480"` // the first one of plan
	AskForGood  *web.Number  `json:"ask_for_good,omitempty" swaggertype:"number"`      // the best one for who will not change it
	Plan        []PlanStep   `json:"plan,omitempty"`                                   // the asks that follow one another while it is unsold
	NextStepOn  *string      `json:"next_step_on,omitempty" format:"date"`             // when the plan lowers the ask
	NextAsk     *web.Number  `json:"next_ask,omitempty" swaggertype:"number"`          // to what
	ChanceSold  *ChanceSold  `json:"chance_sold,omitempty"`                            // at ask
	Days        *Days        `json:"days,omitempty"`                                   // active days until the sale, at ask
	Demand      *web.Number  `json:"demand,omitempty" swaggertype:"number"`            // of a listing on offer, by its days and messages so far: 1 is what the description promises
	Within      *Within      `json:"within,omitempty"`                                 // the ask for those who are in a hurry
	Choices     []Choice     `json:"choices,omitempty"`                                // quick, balanced, patient
	Curve       []CurvePoint `json:"curve,omitempty"`                                  // by rising ask
	Drivers     []Driver     `json:"drivers,omitempty"`                                // what makes the price
	Comparables []Comparable `json:"comparables"`                                      // the nearest sales, adjusted
	Differences []Difference `json:"differences,omitempty"`                            // of each column laid over a listing on file, or of and_if over the subject, one after another
	Money       *Money       `json:"money,omitempty"`                                  // what the asks assume
	Basis       Basis        `json:"basis"`                                            // what the answer rests on
	Refusal     *Refusal     `json:"refusal,omitempty"`                                // why something is missing
	Labels      []string     `json:"labels,omitempty" example:"low_confidence"`        // of the whole answer
	Unused      []string     `json:"unused" example:"maker"`                           // columns that are told and do not count in the price
	Sentences   []Sentence   `json:"sentences"`                                        // the answer for people
	Warnings    []Warning    `json:"warnings,omitempty"`                               // of what looks like a slip: a size that such pieces hardly have
	Cautions    []Caution    `json:"cautions"`                                         // the usual ones that apply

	Errors []web.ProblemError `json:"errors"` // why the subject could not be read: nothing else is answered then
}

// PriceRange is a likely price with the range that holds it at a level.
type PriceRange struct {
	Likely web.Number `json:"likely" swaggertype:"number" example:"460"`
	Low    web.Number `json:"low" swaggertype:"number" example:"390"`
	High   web.Number `json:"high" swaggertype:"number" example:"545"`
	Level  float64    `json:"level" example:"0.8"`
}

// ChanceSold is the chance of a sale within so many active days.
type ChanceSold struct {
	WithinDays  int        `json:"within_days" example:"30"`
	Probability web.Number `json:"probability" swaggertype:"number" example:"0.62"`
}

// Days are active days until the sale; null: not within the horizon.
type Days struct {
	Median      *int `json:"median"`
	P80         *int `json:"p80"`
	HorizonDays int  `json:"horizon_days"`
}

// Within is the highest ask that sells within the asked days at even odds; or
// the lowest one considered, when none does.
type Within struct {
	WithinDays  int        `json:"within_days" example:"30"`
	Ask         web.Number `json:"ask" swaggertype:"number"`
	Probability web.Number `json:"probability" swaggertype:"number"`
}

// PlanStep is an ask and when it begins.
type PlanStep struct {
	On              string     `json:"on" format:"date"`                       // if there is no pause
	FromDay         int        `json:"from_day"`                               // active days from now
	Ask             web.Number `json:"ask" swaggertype:"number" example:"480"` // a price point
	ChanceStillHere web.Number `json:"chance_still_here" swaggertype:"number"` // that it has not sold by then
}

// Choice is one of three plans to choose from: at its first ask, expected_net
// that of the plan.
type Choice struct {
	Name string `json:"name" enums:"quick,balanced,patient"`
	CurvePoint
	Plan []PlanStep `json:"plan"`
}

// CurvePoint is what an ask leads to.
type CurvePoint struct {
	Ask         web.Number `json:"ask" swaggertype:"number"`
	LikelySale  web.Number `json:"likely_sale" swaggertype:"number"`
	ChanceSold  web.Number `json:"chance_sold" swaggertype:"number"`  // within the asked days
	MedianDays  *int       `json:"median_days"`                       // null: not within horizon_days
	HorizonDays int        `json:"horizon_days,omitempty"`            // where median_days is null
	ExpectedNet web.Number `json:"expected_net" swaggertype:"number"` // after fees and holding
}

// Driver is one reason for the price, against a typical piece of the category.
type Driver struct {
	Term            string     `json:"term" example:"finish painted"`
	Percent         web.Number `json:"percent" swaggertype:"number"` // points
	Low             web.Number `json:"low" swaggertype:"number"`     // of percent, 80 % interval
	High            web.Number `json:"high" swaggertype:"number"`
	Money           web.Number `json:"money" swaggertype:"number"` // of the likely price
	Sales           int        `json:"sales"`                      // that it rests on
	Distinguishable bool       `json:"distinguishable"`            // the interval leaves out zero
}

// Difference is what one change does to the price of a listing on file, or of a
// described piece by and_if. The changes are laid over one another, so that the
// lines add up.
type Difference struct {
	Column    string      `json:"column" example:"finish"`
	From      *string     `json:"from"` // as it was before; null: unknown
	To        *string     `json:"to"`
	Percent   *web.Number `json:"percent" swaggertype:"number"`    // points of the likely price; null: there is none
	Money     *web.Number `json:"money" swaggertype:"number"`      // of the likely price
	AskChange *web.Number `json:"ask_change" swaggertype:"number"` // of the ask; null: one of them is refused
}

// Basis is what an answer rests on.
type Basis struct {
	Sold         int    `json:"sold"`
	Unsold       int    `json:"unsold"`
	SameCategory int    `json:"same_category"`
	Model        string `json:"model" example:"4.412.2026-03-05"` // design, change number, day fitted
}

// Refusal says why there is no answer, what there is and what it would take.
type Refusal struct {
	Reason string     `json:"reason" example:"too_few_sales" csv:"plain"`
	Have   web.Number `json:"have" swaggertype:"number"`
	Need   web.Number `json:"need" swaggertype:"number"`
	Detail string     `json:"detail"`
}

// Caution is a usual warning. Local codes and licensed practice decide.
type Caution struct {
	Code   string `json:"code" example:"lead"`
	Text   string `json:"text"`
	Source string `json:"source"`
}

// InCell is the caution in a table.
func (c Caution) InCell() string { return c.Code }

// SuggestionsRequest asks for some suggestions at once.
type SuggestionsRequest struct {
	Subjects   []Cells `json:"subjects" swaggertype:"array,object"` // rows: category is needed; or the id or ref of a listing on file, other columns laid over it
	WithinDays *int    `json:"within_days" default:"30"`            // 1 to 730
	AndIf      Cells   `json:"and_if" swaggertype:"object"`         // laid over each subject before it is answered; differences tell what each column does
}

// SuggestionsAnswer has one suggestion for each subject, in order.
type SuggestionsAnswer struct {
	Items []Suggestion `json:"items"`
	Next  *string      `json:"next"` // always null
}

// WithinDefault is in how many days a piece is to be sold where nothing is said.
const WithinDefault = 30

// Suggestion shows a suggestion.
func (v Viewer) Suggestion(f advice.Suggestion, within int) Suggestion {
	money := web.MoneyIn(v.Currency)
	out := Suggestion{
		Ref: f.Ref, Labels: f.Labels, Sentences: Sentences(f.Sentences), Warnings: warnings(f.Warnings, v.actor.Group), Cautions: Cautions(f.Cautions), Refusal: RefusalOf(f.Refusal),
		Errors: web.ProblemErrors(f.Errors), Unused: notNil(f.Unused),
		Basis: basis(f.Basis, f.Model), SalePrice: priceRange(f.SalePrice, money),
		RecordsOnly: priceRange(f.RecordsOnly, money), Comparables: make([]Comparable, len(f.Nearest)),
	}
	for i, found := range f.Nearest {
		out.Comparables[i] = v.Comparable(found)
	}
	for _, d := range f.Differences {
		out.Differences = append(out.Differences, Difference{
			Column: d.Column, From: optionalText(d.From), To: optionalText(d.To), Percent: Optional(d.Percent, web.Percentage),
			Money: Optional(d.Money, money), AskChange: Optional(d.AskChange, money),
		})
	}
	for _, d := range f.Drivers {
		out.Drivers = append(out.Drivers, Driver{
			Term: d.Term, Percent: web.Percentage(d.Percent), Low: web.Percentage(d.Low), High: web.Percentage(d.High), Money: money(d.Money),
			Sales: d.Sales, Distinguishable: d.Distinguishable,
		})
	}
	if len(f.Choices) == 0 {
		return out
	}
	out.Money = new(v.assumptions(f.Money))
	out.Ask, out.AskForGood, out.Plan = web.Known(f.Ask, money), web.Known(f.AskForGood, money), planSteps(f.Plan, money)
	if next := f.Plan.Next(); next != nil {
		out.NextStepOn, out.NextAsk = new(next.On.String()), web.Known(next.Ask, money)
	}
	if f.Demand > 0 {
		out.Demand = Optional(&f.Demand, web.Chance)
	}
	out.Days = &Days{Median: f.MedianDays, P80: f.P80Days, HorizonDays: f.HorizonDays}
	out.Within = &Within{WithinDays: within, Ask: money(f.WithinAsk), Probability: web.Chance(f.WithinProb)}
	if f.ChanceSold != nil {
		out.ChanceSold = &ChanceSold{WithinDays: f.ChanceSold.WithinDays, Probability: web.Chance(f.ChanceSold.Probability)}
	}
	for _, choice := range f.Choices {
		out.Choices = append(out.Choices, Choice{
			Name: choice.Name, CurvePoint: curvePoint(choice.Point, f.HorizonDays, money), Plan: planSteps(choice.Plan, money),
		})
	}
	for _, p := range f.Curve {
		out.Curve = append(out.Curve, curvePoint(p, f.HorizonDays, money))
	}
	return out
}

func planSteps(p pricing.Plan, money func(float64) web.Number) []PlanStep {
	out := make([]PlanStep, len(p.Steps))
	for i, s := range p.Steps {
		out[i] = PlanStep{On: s.On.String(), FromDay: s.FromDay, Ask: money(s.Ask), ChanceStillHere: web.Chance(s.ChanceStillHere)}
	}
	return out
}

func curvePoint(p pricing.Point, horizon int, money func(float64) web.Number) CurvePoint {
	out := CurvePoint{
		Ask: money(p.Ask), LikelySale: money(p.LikelySale), ChanceSold: web.Chance(p.ChanceSold), MedianDays: p.MedianDays,
		ExpectedNet: money(p.ExpectedNet),
	}
	if p.MedianDays == nil {
		out.HorizonDays = horizon
	}
	return out
}

func priceRange(r *stats.Range, money func(float64) web.Number) *PriceRange {
	if r == nil {
		return nil
	}
	return &PriceRange{Likely: money(r.Likely), Low: money(r.Low), High: money(r.High), Level: r.Level}
}

func basis(b pricing.Basis, model string) Basis {
	return Basis{Sold: b.Sold, Unsold: b.Unsold, SameCategory: b.SameCategory, Model: model}
}

// RefusalOf shows why there is no answer; nil: there is one.
func RefusalOf(r *furniture.Refusal) *Refusal {
	if r == nil {
		return nil
	}
	return &Refusal{Reason: r.Reason, Have: web.Rounded(r.Have, 1), Need: web.Rounded(r.Need, 1), Detail: r.Detail}
}

// Cautions shows cautions.
func Cautions(list []service.Caution) []Caution {
	out := make([]Caution, len(list))
	for i, one := range list {
		out[i] = Caution(one)
	}
	return out
}

func optionalText(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}

// notNil makes a list an empty array rather than null.
func notNil[T any](list []T) []T {
	if list == nil {
		return []T{}
	}
	return list
}
