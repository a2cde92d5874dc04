package wire

import (
	"fmt"

	"askwright/api/web"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/advice"
)

// RefinishEstimatesRequest asks what looks take and bring.
type RefinishEstimatesRequest struct {
	// Rows: category is needed; or the id or ref of a row on file, other columns
	// laid over it. Beside the columns of a row: the fields of RefinishPlan.
	Subjects []RefinishSubject `json:"subjects" swaggertype:"array,object"`
	Finishes *int              `json:"finishes" default:"5"` // how many are told of each subject, 1 to 100
}

// RefinishSubject is a row with a plan beside it.
type RefinishSubject struct {
	Row  Cells        `json:"-"`
	Plan RefinishPlan `json:"-"`
}

// RefinishPlan is the look planned for a piece, and how it is to be done.
type RefinishPlan struct {
	Finish       string   `json:"planned_finish" example:"two_tone"` // none: only the ranking is told
	Color        string   `json:"planned_color" example:"navy"`
	SecondFinish string   `json:"planned_second_finish" example:"clear"` // of a two_tone piece: what is not painted
	SecondColor  string   `json:"planned_second_color"`
	SecondPart   string   `json:"planned_second_part" enums:"top,drawer_fronts,legs"` // default top
	Topcoat      string   `json:"planned_topcoat" enums:"none,wax,oil,water_clear,oil_clear,lacquer,shellac"`
	Condition    string   `json:"planned_condition" enums:"poor,fair,good,very_good,excellent"` // when done; default: as it is
	Method       string   `json:"method" enums:"brush,roller,spray"`                            // default brush
	Include      []string `json:"include" example:"back"`                                       // back, insides: else left as they are
	Assumptions  Amounts  `json:"assumptions" swaggertype:"object,number"`                      // by name, in the group's units
	HoursAWeek   *float64 `json:"hours_a_week"`                                                 // for the work; default 10
}

// Amounts are numbers by name.
type Amounts map[string]float64

// RefinishEstimatesAnswer has one estimate for each subject, in order.
type RefinishEstimatesAnswer struct {
	Items []RefinishEstimate `json:"items"`
	Next  *string            `json:"next"` // always null
}

// RefinishEstimate is what looks take and bring on one piece.
type RefinishEstimate struct {
	Ref       string          `json:"ref,omitempty"`
	Category  string          `json:"category"`
	Planned   *Refinish       `json:"planned,omitempty"`  // the planned look
	Finishes  []Refinish      `json:"finishes"`           // those with evidence and those of refinish_options, the best net per hour first
	Compared  int             `json:"compared"`           // looks that were ranked; 0: too little is known to rank
	Refused   []RefusedFinish `json:"refused"`            // finishes that the piece does not take
	AsItIs    *AsItIs         `json:"as_it_is,omitempty"` // what the looks are held against
	Basis     Basis           `json:"basis"`
	Labels    []string        `json:"labels,omitempty" example:"hour_value_unknown"`
	Refusal   *Refusal        `json:"refusal,omitempty"` // of what follows from a look
	Sentences []Sentence      `json:"sentences"`
}

// AsItIs is leaving the piece alone: waiting at its ask, or offering it.
type AsItIs struct {
	Ask         web.Number `json:"ask" swaggertype:"number"`
	ExpectedNet web.Number `json:"expected_net" swaggertype:"number"`
	Sales       int        `json:"sales"` // on file in the finish that it has: below 5 the figures are a guess
}

// RefusedFinish is a finish that cannot be, and why.
type RefusedFinish struct {
	Finish string `json:"finish"`
	Reason string `json:"reason" example:"finish_not_possible"`
	Detail string `json:"detail"`
}

// Refinish is one look. Where too little is known of its effect, the fields
// from price_effect to chance are left out.
type Refinish struct {
	Finish       string       `json:"finish"`
	Color        string       `json:"color,omitempty"`
	Refusal      *Refusal     `json:"refusal,omitempty"` // it cannot be done
	PriceEffect  *LookEffect  `json:"price_effect,omitempty"`
	Pace         *web.Number  `json:"pace,omitempty" swaggertype:"number" example:"1.2"` // of sale at its typical ask, against the present look
	Ask          *web.Number  `json:"ask,omitempty" swaggertype:"number"`
	ExpectedNet  *web.Number  `json:"expected_net,omitempty" swaggertype:"number"`                // after cost, fees and holding
	Gain         *web.Number  `json:"gain,omitempty" swaggertype:"number"`                        // over leaving the piece as it is
	NetPerHour   *web.Number  `json:"net_per_hour,omitempty" swaggertype:"number"`                // what an hour of the work adds, before its own value
	ChanceBetter *web.Number  `json:"chance_better_than_as_it_is,omitempty" swaggertype:"number"` // with what is not known of the look
	Cost         *web.Number  `json:"cost,omitempty" swaggertype:"number"`                        // materials, hours at their value, holding meanwhile
	Materials    web.Number   `json:"materials" swaggertype:"number"`                             // the share used
	ToBuy        web.Number   `json:"to_buy" swaggertype:"number"`                                // whole containers
	Hours        web.Number   `json:"hours" swaggertype:"number"`                                 // at the bench
	DryHours     web.Number   `json:"dry_hours" swaggertype:"number"`                             // waiting for coats; full cure takes 2 to 4 weeks
	HoursAWeek   web.Number   `json:"hours_a_week" swaggertype:"number"`
	DaysOut      int          `json:"days_out"`                                         // out of the market: drying, or hours at so many a week
	CostsFrom    string       `json:"costs_from" enums:"estimate,refinish_options"`     // where hours, materials and days come from
	HoursBasis   string       `json:"hours_basis" example:"common practice, no source"` // of the estimate
	CostBasis    string       `json:"materials_basis" example:"common practice, no source; times 1.12 after 7 pieces of yours"`
	Method       string       `json:"method" enums:"brush,roller,spray"`
	Area         web.Number   `json:"area" swaggertype:"number"` // that is worked
	AreaUnit     string       `json:"area_unit" enums:"ft2,m2"`
	Parts        []PartArea   `json:"parts"`
	Steps        []Step       `json:"steps"`
	Products     []Product    `json:"products"`
	Assumptions  []Assumption `json:"assumptions"`
	Warnings     []Warning    `json:"warnings"`
	Cautions     []Caution    `json:"cautions"`
}

// LookEffect is what a look does to the likely sale price.
type LookEffect struct {
	Percent         web.Number `json:"percent" swaggertype:"number"` // points
	Low             web.Number `json:"low" swaggertype:"number"`     // of percent, 80 % interval
	High            web.Number `json:"high" swaggertype:"number"`
	FinishSales     int        `json:"finish_sales"` // that it rests on
	ColorSales      int        `json:"color_sales"`
	Distinguishable bool       `json:"distinguishable"` // the interval leaves out zero
}

// PartArea is a part that is worked; of a set, of all its items together.
type PartArea struct {
	Part string     `json:"part" example:"top"`
	Item string     `json:"item,omitempty"` // in a set of several kinds
	Area web.Number `json:"area" swaggertype:"number"`
}

// Step is one step of the work.
type Step struct {
	Step     string     `json:"step" example:"scuff sand"`
	Parts    []string   `json:"parts,omitempty"` // none: the whole piece
	Grits    string     `json:"grits,omitempty" example:"180-220"`
	Product  string     `json:"product,omitempty"`
	Coats    int        `json:"coats,omitempty"`
	Hours    web.Number `json:"hours" swaggertype:"number"`
	DryHours web.Number `json:"dry_hours" swaggertype:"number"` // after each coat
}

// Product is how much of a product the work takes.
type Product struct {
	Product    string      `json:"product"`
	Quantity   web.Number  `json:"quantity" swaggertype:"number"`
	Unit       string      `json:"unit" enums:"qt,L,sheet,roll"` // U.S. quarts
	Coats      int         `json:"coats,omitempty"`
	Containers int         `json:"containers"`                          // whole ones to buy
	Size       web.Number  `json:"container_size" swaggertype:"number"` // in unit
	ToBuy      *web.Number `json:"to_buy" swaggertype:"number"`         // their price; null: not known
	Cost       *web.Number `json:"cost" swaggertype:"number"`           // of the share used
	Basis      string      `json:"basis,omitempty"`                     // of the price
}

// Assumption is a figure that was taken for granted; most can be set.
type Assumption struct {
	Name   string     `json:"name" example:"transfer_efficiency"`
	Value  web.Number `json:"value" swaggertype:"number"`
	Unit   string     `json:"unit"`                                       // yes: 1 or 0
	Basis  string     `json:"basis" example:"common practice, no source"` // or "given"
	Finish string     `json:"finish,omitempty"`                           // the plan that it is of, where a piece has two
}

// Warning is something to mind that changes no figure.
type Warning struct {
	Code string `json:"code" example:"sand_through"`
	Text string `json:"text"`
}

// Plan is the plan as the service takes it.
func (p RefinishPlan) Plan() advice.Plan {
	return advice.Plan{
		Finish: p.Finish, Color: p.Color, SecondFinish: p.SecondFinish, SecondColor: p.SecondColor, SecondPart: p.SecondPart,
		Topcoat: p.Topcoat, Condition: p.Condition, Method: p.Method, Include: p.Include, Assumptions: p.Assumptions, HoursAWeek: p.HoursAWeek,
	}
}

// RefinishEstimate shows what finishes take and bring.
func (v Viewer) RefinishEstimate(f *advice.RefinishEstimate, g *service.Group) RefinishEstimate {
	money := web.MoneyIn(v.Currency)
	out := RefinishEstimate{
		Ref: f.Ref, Category: f.Category, Compared: f.Compared, Labels: f.Labels, Refusal: RefusalOf(f.Refusal), Sentences: Sentences(f.Sentences),
		Basis:    Basis{Sold: f.Basis.Sold, Unsold: f.Basis.Unsold, SameCategory: f.Basis.SameCategory, Model: f.Model},
		Finishes: make([]Refinish, len(f.Looks)), Refused: make([]RefusedFinish, len(f.Refused)),
	}
	if f.PlannedLook != nil {
		one := v.refinish(f.PlannedLook, g)
		out.Planned = &one
	}
	for i := range f.Looks {
		out.Finishes[i] = v.refinish(&f.Looks[i], g)
	}
	for i, r := range f.Refused {
		out.Refused[i] = RefusedFinish{Finish: r.Look.Finish, Reason: r.Refusal.Reason, Detail: r.Refusal.Detail}
	}
	if r := f.AsItIs; r != nil {
		out.AsItIs = &AsItIs{Ask: money(r.Ask), ExpectedNet: money(r.ExpectedNet), Sales: f.Proven}
	}
	return out
}

func (v Viewer) refinish(f *advice.Refinish, g *service.Group) Refinish {
	money, w := web.MoneyIn(v.Currency), &f.Work
	area, areaUnit := g.InUnit(w.Area, "m2")
	out := Refinish{
		Finish: f.Finish, Color: f.Color, Refusal: RefusalOf(w.Refusal), Materials: money(f.Materials), ToBuy: money(w.ToBuy),
		Hours: web.Rounded(f.Hours, 2), DryHours: web.Rounded(w.DryHours, 1), HoursAWeek: web.Rounded(w.HoursAWeek, 1), DaysOut: f.DaysOut, CostsFrom: "estimate",
		HoursBasis: correctedBy(w.HoursRatio), CostBasis: correctedBy(w.CostRatio), Method: w.Method,
		Area: web.Rounded(area, 2), AreaUnit: areaUnit, Parts: make([]PartArea, len(w.Parts)), Steps: make([]Step, len(w.Steps)),
		Products: make([]Product, len(w.Products)), Assumptions: make([]Assumption, len(w.Assumptions)), Warnings: warnings(w.Warnings, g),
		Cautions: Cautions(f.Cautions),
	}
	if f.Quoted {
		out.CostsFrom = "refinish_options"
	}
	for i, p := range w.Parts {
		square, _ := g.InUnit(p.Area, "m2")
		out.Parts[i] = PartArea{Part: p.Name, Item: p.Item, Area: web.Rounded(square, 2)}
	}
	for i, s := range w.Steps {
		out.Steps[i] = Step{Step: s.Name, Parts: s.Parts, Grits: s.Grits, Product: s.Product, Coats: s.Coats, Hours: web.Rounded(s.Hours, 2), DryHours: web.Rounded(s.Dry, 1)}
	}
	for i, p := range w.Products {
		out.Products[i] = v.product(p, g)
	}
	for i, one := range w.Assumptions {
		value, unit := g.InUnit(one.Value, one.Unit)
		out.Assumptions[i] = Assumption{Name: one.Name, Value: web.Rounded(value, 3), Unit: unit, Basis: one.Basis, Finish: one.Finish}
	}
	if f.Priced {
		v.addProspects(&out, f)
	}
	return out
}

// addProspects fills in what follows from a look.
func (v Viewer) addProspects(out *Refinish, f *advice.Refinish) {
	money := web.MoneyIn(v.Currency)
	told := func(n web.Number) *web.Number { return &n }
	out.PriceEffect = &LookEffect{
		Percent: web.Percentage(f.Percent), Low: web.Percentage(f.Low), High: web.Percentage(f.High), FinishSales: f.Sales, ColorSales: f.ColorSales,
		Distinguishable: f.Distinguishable,
	}
	out.Pace, out.ChanceBetter = told(web.Rounded(f.Pace, 2)), told(web.Chance(f.ChanceBetterThanWaiting))
	out.Ask, out.ExpectedNet, out.Gain, out.Cost = told(money(f.Ask)), told(money(f.ExpectedNet)), told(money(f.Gain)), told(money(f.Cost))
	out.NetPerHour = Optional(f.NetPerHour, money)
}

func (v Viewer) product(p refinish.Product, g *service.Group) Product {
	money := web.MoneyIn(v.Currency)
	quantity, unit := g.InUnit(p.Amount, p.Unit)
	size, _ := g.InUnit(p.Size, p.Unit)
	out := Product{Product: p.Name, Quantity: web.Rounded(quantity, 3), Unit: unit, Coats: p.Coats, Containers: p.Containers, Size: web.Rounded(size, 3), Basis: p.Basis}
	if p.Priced {
		out.ToBuy, out.Cost = Optional(&p.ToBuy, money), Optional(&p.Cost, money)
	}
	return out
}

// correctedBy says what a figure rests on.
func correctedBy(r refinish.Ratio) string {
	if r.Pieces < refinish.RatioPieces {
		return refinish.CommonPractice
	}
	return fmt.Sprintf("%s; times %.2f after %d pieces of yours", refinish.CommonPractice, r.Value, r.Pieces)
}

func warnings(list []refinish.Warning, g *service.Group) []Warning {
	return web.Each(list, func(w refinish.Warning) Warning { return Warning{Code: w.Code, Text: w.Text + usualSize(w, g)} })
}

// usualSize adds the usual span to the warning of an unusual size.
func usualSize(w refinish.Warning, g *service.Group) string {
	if w.High == 0 {
		return ""
	}
	have, unit := g.InUnit(w.Have, "cm")
	low, _ := g.InUnit(w.Low, "cm")
	high, _ := g.InUnit(w.High, "cm")
	return fmt.Sprintf(" It is %.4g %s; usual are %.3g to %.3g (%s).", have, unit, low, high, refinish.CommonPractice)
}
