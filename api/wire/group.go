package wire

import (
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/pricing"
	"askwright/pricing/refinish"
	"askwright/service"
)

// Group is what the group settled.
type Group struct {
	ID              uuid.UUID        `json:"id" format:"uuid"`
	Name            string           `json:"name"`
	Currency        string           `json:"currency" example:"USD"` // ISO 4217; fixed after the first amount
	Unit            string           `json:"unit" enums:"in,cm"`     // of lengths without one
	TimeZone        string           `json:"timezone" example:"America/Chicago"`
	DateOrder       string           `json:"date_order,omitempty" enums:"mdy,dmy"` // how slashed dates are read; none: refused
	HourValue       web.Number       `json:"hour_value" swaggertype:"number"`      // of an hour of work; 0: not told
	SpacePrice      web.Number       `json:"space_price" swaggertype:"number"`     // of a square foot or metre a month; 0: not told
	MinimumProfit   web.Number       `json:"minimum_profit" swaggertype:"number"`  // wanted on any piece
	DistanceCost    web.Number       `json:"distance_cost" swaggertype:"number"`   // of a mile or kilometre with the vehicle; 0: not told
	FeeRate         float64          `json:"fee_rate" example:"0.1"`               // share of the sale price that a venue keeps which has no rate of its own
	VenueFees       []VenueFee       `json:"venue_fees"`                           // by venue, then day
	HoldingRate     float64          `json:"holding_rate" example:"0.002"`         // a day, share of the ask, where no space price is set
	SalvageRate     float64          `json:"salvage_rate" example:"0.15"`          // worth of what never sells, share of the ask
	HorizonDays     int              `json:"horizon_days" example:"180"`           // after which a piece counts as unsold
	FlagGain        float64          `json:"flag_gain" example:"0.05"`             // share of the ask that a remedy must gain to flag a listing
	RefinishOptions []RefinishOption `json:"refinish_options"`                     // changes of look that the group offers itself
	MaterialPrices  []MaterialPrice  `json:"material_prices"`                      // in use: the group's own, and rough shop prices for the rest
	CreatedAt       time.Time        `json:"created_at" format:"date-time"`
	Today           string           `json:"today" format:"date"` // the group's local day
}

// RefinishOption is a change of look with its price.
type RefinishOption struct {
	Finish    string      `json:"finish" example:"painted"`
	Color     string      `json:"color" example:"navy"`
	Materials web.Decimal `json:"materials" swaggertype:"number"` // money
	Hours     float64     `json:"hours"`
	DaysOut   int         `json:"days_out"` // out of the market
}

// VenueFee is what share of the sale price a venue keeps from a day on.
type VenueFee struct {
	Venue string  `json:"venue" example:"online checkout"`                   // as in the columns venue and sold_venue
	From  string  `json:"from,omitempty" format:"date" example:"2026-01-01"` // none: from the start
	Rate  float64 `json:"rate" example:"0.12"`
}

// GroupPatch changes settings: what is absent stays.
type GroupPatch struct {
	Name            *string           `json:"name"`
	Currency        *string           `json:"currency"`
	Unit            *string           `json:"unit" enums:"in,cm"`
	TimeZone        *string           `json:"timezone"`
	DateOrder       *string           `json:"date_order"` // "" for none
	HourValue       *web.Decimal      `json:"hour_value" swaggertype:"number"`
	SpacePrice      *web.Decimal      `json:"space_price" swaggertype:"number"`
	MinimumProfit   *web.Decimal      `json:"minimum_profit" swaggertype:"number"`
	DistanceCost    *web.Decimal      `json:"distance_cost" swaggertype:"number"`
	FeeRate         *float64          `json:"fee_rate"`
	VenueFees       *[]VenueFee       `json:"venue_fees"` // all of them
	HoldingRate     *float64          `json:"holding_rate"`
	SalvageRate     *float64          `json:"salvage_rate"`
	HorizonDays     *int              `json:"horizon_days"`
	FlagGain        *float64          `json:"flag_gain"`
	RefinishOptions *[]RefinishOption `json:"refinish_options"`
	MaterialPrices  *[]MaterialPrice  `json:"material_prices"` // the group's own; rough shop prices that come back are left out
}

// MaterialPrice is what one container of a product costs.
type MaterialPrice struct {
	Product string      `json:"product" example:"paint"`
	Price   web.Decimal `json:"price" swaggertype:"number" example:"26"`
	Size    float64     `json:"size" example:"1"` // of the container
	Unit    string      `json:"unit" enums:"gal,qt,pt,fl_oz,l,ml,sheet,roll"`
	Basis   string      `json:"basis,omitempty" example:"group"` // group, or "common practice, no source"
}

const basisGroup = "group"

func (p MaterialPrice) setting(c service.Currency) (service.MaterialPrice, error) {
	amount, err := service.ParseMoney(string(p.Price), c, '.')
	return service.MaterialPrice{Product: p.Product, Price: amount, Size: p.Size, Unit: p.Unit, Default: p.Basis == refinish.CommonPractice}, err
}

// GroupOf shows a group to one of its members.
func GroupOf(g *service.Group, a *service.Actor) Group {
	out := Group{
		ID: g.ID, Name: g.Name, Currency: g.Currency.Code, Unit: g.Unit, TimeZone: g.TimeZone, DateOrder: g.DateOrder,
		HourValue: web.Exact(g.HourValue, g.Currency), SpacePrice: web.Exact(g.SpacePrice, g.Currency), MinimumProfit: web.Exact(g.MinimumProfit, g.Currency), DistanceCost: web.Exact(g.DistanceCost, g.Currency),
		FeeRate: g.FeeRate, HoldingRate: g.HoldingRate, SalvageRate: g.SalvageRate, HorizonDays: g.HorizonDays, FlagGain: g.FlagGain,
		VenueFees: make([]VenueFee, len(g.VenueFees)), RefinishOptions: make([]RefinishOption, len(g.RefinishOptions)), MaterialPrices: []MaterialPrice{},
		CreatedAt: g.CreatedAt.UTC(), Today: a.Today.String(),
	}
	for i, f := range g.VenueFees {
		out.VenueFees[i] = VenueFee{Venue: f.Venue, From: f.From.String(), Rate: f.Rate}
	}
	for i, o := range g.RefinishOptions {
		out.RefinishOptions[i] = RefinishOption{Finish: o.Finish, Color: o.Color, Materials: web.Decimal(o.Materials.Format(g.Currency)), Hours: o.Hours, DaysOut: o.DaysOut}
	}
	for _, p := range g.Prices() {
		one := MaterialPrice{Product: p.Product, Price: web.Decimal(p.Price.Format(g.Currency)), Size: p.Size, Unit: p.Unit, Basis: basisGroup}
		if p.Default {
			one.Basis = refinish.CommonPractice
		}
		out.MaterialPrices = append(out.MaterialPrices, one)
	}
	return out
}

// Apply changes a copy of the group; the service checks the whole.
func (p *GroupPatch) Apply(g *service.Group) error {
	if p.Currency != nil {
		g.Currency, _ = service.CurrencyByCode(*p.Currency)
	}
	assign(&g.Name, p.Name)
	assign(&g.Unit, p.Unit)
	assign(&g.TimeZone, p.TimeZone)
	assign(&g.DateOrder, p.DateOrder)
	assign(&g.FeeRate, p.FeeRate)
	assign(&g.HoldingRate, p.HoldingRate)
	assign(&g.SalvageRate, p.SalvageRate)
	assign(&g.HorizonDays, p.HorizonDays)
	assign(&g.FlagGain, p.FlagGain)
	for _, m := range []struct {
		column string
		to     *service.Money
		from   *web.Decimal
	}{{"hour_value", &g.HourValue, p.HourValue}, {"space_price", &g.SpacePrice, p.SpacePrice}, {"minimum_profit", &g.MinimumProfit, p.MinimumProfit}, {"distance_cost", &g.DistanceCost, p.DistanceCost}} {
		if m.from == nil {
			continue
		}
		amount, err := service.ParseMoney(string(*m.from), g.Currency, '.')
		if err != nil {
			return service.Invalid(m.column, "%v", err)
		}
		*m.to = amount
	}
	if err := p.applyVenueFees(g); err != nil {
		return err
	}
	if err := p.applyMaterialPrices(g); err != nil || p.RefinishOptions == nil {
		return err
	}
	g.RefinishOptions = nil
	for _, o := range *p.RefinishOptions {
		materials, err := service.ParseMoney(string(o.Materials), g.Currency, '.')
		if o.Materials != "" && err != nil {
			return service.Invalid("refinish_options", "%v", err)
		}
		g.RefinishOptions = append(g.RefinishOptions, service.RefinishOption{Finish: o.Finish, Color: o.Color, Materials: materials, Hours: o.Hours, DaysOut: o.DaysOut})
	}
	return nil
}

func (p *GroupPatch) applyVenueFees(g *service.Group) error {
	if p.VenueFees == nil {
		return nil
	}
	g.VenueFees = nil
	for _, f := range *p.VenueFees {
		fee := service.VenueFee{Venue: f.Venue, Rate: f.Rate}
		if f.From != "" {
			var err error
			if fee.From, err = pricing.ParseDate(f.From); err != nil {
				return service.Invalid("venue_fees", "%s: %q is not a day like 2026-03-05", web.Clip(f.Venue, 40), web.Clip(f.From, 40))
			}
		}
		g.VenueFees = append(g.VenueFees, fee)
	}
	return nil
}

func (p *GroupPatch) applyMaterialPrices(g *service.Group) error {
	if p.MaterialPrices == nil {
		return nil
	}
	g.MaterialPrices = nil
	for i, one := range *p.MaterialPrices {
		price, err := one.setting(g.Currency)
		if err != nil {
			return service.Invalid("material_prices", "price %d: %v", i+1, err)
		}
		g.MaterialPrices = append(g.MaterialPrices, price)
	}
	return nil
}

func assign[T any](to, from *T) {
	if from != nil {
		*to = *from
	}
}

// Member is a person in the group.
type Member struct {
	ID       uuid.UUID  `json:"id" format:"uuid"`
	Name     string     `json:"name"`
	JoinedAt time.Time  `json:"joined_at" format:"date-time"`
	LeftAt   *time.Time `json:"left_at,omitempty" format:"date-time"`
}

// MemberPage is the people of the group.
type MemberPage struct {
	Items []Member `json:"items"`
	Next  *string  `json:"next"` // null: the list is whole
}

// MemberColumns are the columns of members.
var MemberColumns = web.ColumnsOf[Member](`
	id name joined_at left_at`)

// MemberOf shows a member.
func MemberOf(m service.Member) Member {
	return Member{ID: m.ID, Name: m.Name, JoinedAt: m.JoinedAt.UTC(), LeftAt: optionalTime(m.LeftAt)}
}

func optionalTime(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	t = t.UTC()
	return &t
}
