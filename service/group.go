package service

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/refinish"
)

// Group is the flippers who share comparables, with what they settled.
type Group struct {
	ID        uuid.UUID
	Name      string
	Currency  Currency
	Unit      string // of lengths without one
	TimeZone  string // IANA name; dates are local to it
	DateOrder string // "", "mdy" or "dmy"

	HourValue       Money   // of one hour of a member's work; zero: not told
	SpacePrice      Money   // of one square foot (unit in) or metre (unit cm) of floor a month; zero: not told
	MinimumProfit   Money   // wanted on any piece
	DistanceCost    Money   // of one mile (unit in) or kilometre (unit cm) with the vehicle; zero: not told
	FeeRate         float64 // share of the sale price that a venue keeps, where VenueFees has none
	VenueFees       []VenueFee
	HoldingRate     float64 // a day, share of the typical ask, where there is no space price
	SalvageRate     float64 // worth of what never sells, share of the typical ask
	HorizonDays     int     // active days after which a piece counts as unsold
	FlagGain        float64 // share of the ask that a remedy must gain to flag a listing
	RefinishOptions []RefinishOption
	MaterialPrices  []MaterialPrice // see Group.Prices for those in use

	ChangeNo  int64
	CreatedAt time.Time
}

// RefinishOption is a change of look that the group offers itself, with its
// price.
type RefinishOption struct {
	Finish    string
	Color     string
	Materials Money
	Hours     float64
	DaysOut   int // out of the market
}

// VenueFee is what share of the sale price a venue keeps from a day on.
type VenueFee struct {
	Venue string
	From  pricing.Date // zero: from the start
	Rate  float64
}

// Member is a person in the group.
type Member struct {
	ID       uuid.UUID
	Name     string
	JoinedAt time.Time
	LeftAt   time.Time // zero: still in it
}

// Location is the group's time zone.
func (g *Group) Location() *time.Location {
	if loc, ok := zones.Load(g.TimeZone); ok {
		return loc.(*time.Location) //nolint:forcetypeassert // nothing else is stored
	}
	loc, err := time.LoadLocation(g.TimeZone)
	if err != nil {
		return time.UTC // checked when it was set; zones are linked in
	}
	zones.Store(g.TimeZone, loc)
	return loc
}

// zones are those that were read, by name: each request of a group asks for its own.
var zones sync.Map

const squareMetresPerSquareFoot = 0.09290304 // exact, from 0.3048 m to the foot

// Settings are the group's decisions in the words of pricing.
func (g *Group) Settings() pricing.Settings {
	s := pricing.DefaultSettings()
	s.FeeRate, s.HoldingRate, s.SalvageRate = g.FeeRate, g.HoldingRate, g.SalvageRate
	s.HorizonDays, s.FlagGain = g.HorizonDays, g.FlagGain
	usual := pricing.DefaultSettings()
	s.Told.Fee = g.FeeRate != usual.FeeRate
	s.Told.Holding = g.SpacePrice > 0 || g.HoldingRate != usual.HoldingRate
	s.Told.Salvage = g.SalvageRate != usual.SalvageRate
	s.HourValue, s.MinimumProfit = g.HourValue.Major(g.Currency), g.MinimumProfit.Major(g.Currency)
	const monthsPerDay = 12 / 365.25
	s.SpacePrice = g.SpacePrice.Major(g.Currency) * monthsPerDay
	if g.Unit == UnitInch {
		s.SpacePrice /= squareMetresPerSquareFoot
	}
	s.Workshop = refinish.Workshop{Prices: g.shop()}
	for _, o := range g.RefinishOptions {
		s.RefinishOptions = append(s.RefinishOptions, refinish.Option{
			Finish: o.Finish, Color: o.Color, Materials: o.Materials.Major(g.Currency), Hours: o.Hours, DaysOut: o.DaysOut,
		})
	}
	return s
}

// SettingsFor are the settings for a piece offered at venues, as its column
// has them, on a day.
func (g *Group) SettingsFor(venues string, day pricing.Date) pricing.Settings {
	s := g.Settings()
	s.FeeRate = g.FeeRateAt(venues, day)
	s.Told.Fee = s.Told.Fee || s.FeeRate != g.FeeRate // by the venue
	return s
}

// FeeRateAt is the share of the sale price that goes to the venue. Of several
// venues nobody knows which will sell the piece: it is their mean. A venue
// without a rate of its own has the group's.
func (g *Group) FeeRateAt(venues string, day pricing.Date) float64 {
	sum, n := 0.0, 0
	for venue := range strings.SplitSeq(venues, ";") {
		if venue = VenueName(venue); venue != "" {
			sum += g.feeRateOf(venue, day)
			n++
		}
	}
	if n == 0 {
		return g.FeeRate
	}
	return sum / float64(n)
}

func (g *Group) feeRateOf(venue string, day pricing.Date) float64 {
	rate, from := g.FeeRate, pricing.Date(0)
	for _, f := range g.VenueFees {
		if f.Venue == venue && f.From <= day && f.From >= from {
			rate, from = f.Rate, f.From
		}
	}
	return rate
}

// VenueName is a venue's name as it is compared: members write it in any case
// and spacing.
func VenueName(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }

// NewGroup returns a group with the usual settings.
func NewGroup(name string, currency Currency) Group {
	d := pricing.DefaultSettings()
	return Group{
		Name: name, Currency: currency, Unit: UnitCentimetre, TimeZone: "UTC",
		FeeRate: d.FeeRate, HoldingRate: d.HoldingRate, SalvageRate: d.SalvageRate, HorizonDays: d.HorizonDays,
		FlagGain: d.FlagGain,
	}
}

// Validate checks the settings of a group.
func (g *Group) Validate() error {
	var wrong []FieldError
	check := func(ok bool, column, reason string) {
		if !ok {
			wrong = append(wrong, FieldError{Column: column, Reason: reason})
		}
	}
	g.Name = strings.TrimSpace(g.Name)
	check(g.Name != "" && CheckText(g.Name, 100) == nil, "name", "give the group a name of at most 100 characters")
	_, known := CurrencyByCode(g.Currency.Code)
	check(known, "currency", "expected an ISO 4217 code such as USD")
	check(IsOneOf(g.Unit, units), "unit", "expected in or cm")
	_, err := time.LoadLocation(g.TimeZone)
	check(err == nil && g.TimeZone != "" && g.TimeZone != "Local", "timezone", "expected a name such as America/Chicago")
	check(IsOneOf(g.DateOrder, []string{"", DateOrderMDY, DateOrderDMY}), "date_order", "expected mdy, dmy or nothing")
	check(Between(int64(g.HourValue), 0, MaxMinor), "hour_value", "must not be negative")
	check(Between(int64(g.SpacePrice), 0, MaxMinor), "space_price", "must not be negative")
	check(Between(int64(g.MinimumProfit), 0, MaxMinor), "minimum_profit", "must not be negative")
	check(Between(int64(g.DistanceCost), 0, MaxMinor), "distance_cost", "must not be negative")
	check(Between(g.FeeRate, 0, 0.9), "fee_rate", "expected a share from 0 to 0.9")
	check(Between(g.HoldingRate, 0, 0.1), "holding_rate", "expected a share a day from 0 to 0.1")
	check(Between(g.SalvageRate, 0, 1), "salvage_rate", "expected a share from 0 to 1")
	check(Between(g.HorizonDays, 14, 730), "horizon_days", "expected 14 to 730 days")
	check(Between(g.FlagGain, 0, 1), "flag_gain", "expected a share from 0 to 1")
	wrong = append(wrong, g.checkVenueFees()...)
	wrong = append(wrong, g.checkMaterialPrices()...)
	check(len(g.RefinishOptions) <= 50, "refinish_options", "at most 50")
	for i := range g.RefinishOptions {
		o := &g.RefinishOptions[i]
		o.Finish, o.Color = Canonical(o.Finish), Canonical(o.Color)
		check(o.Finish != "" && o.Materials >= 0 && Between(o.Hours, 0, 1000) && Between(o.DaysOut, 0, 365), "refinish_options",
			fmt.Sprintf("option %d needs a finish, and materials, hours and days_out that are not negative", i+1))
	}
	if wrong != nil {
		return &InvalidError{Fields: wrong}
	}
	return nil
}

// checkVenueFees also puts the rates into the order of venues and days.
func (g *Group) checkVenueFees() (wrong []FieldError) {
	refuse := func(format string, args ...any) {
		wrong = append(wrong, FieldError{Column: "venue_fees", Reason: fmt.Sprintf(format, args...)})
	}
	if len(g.VenueFees) > 200 {
		refuse("at most 200")
		return wrong
	}
	for i := range g.VenueFees {
		f := &g.VenueFees[i]
		f.Venue = VenueName(f.Venue)
		if f.Venue == "" || strings.Contains(f.Venue, ";") || CheckText(f.Venue, 200) != nil {
			refuse("rate %d needs the name of one venue, of at most 200 characters", i+1)
		}
		if !Between(f.Rate, 0, 0.9) {
			refuse("%s: expected a rate from 0 to 0.9", cmp.Or(Clip(f.Venue), "rate "+strconv.Itoa(i+1)))
		}
	}
	slices.SortStableFunc(g.VenueFees, func(x, y VenueFee) int {
		return cmp.Or(cmp.Compare(x.Venue, y.Venue), cmp.Compare(x.From, y.From))
	})
	for i := 1; i < len(g.VenueFees); i++ {
		if x, y := g.VenueFees[i-1], g.VenueFees[i]; x.Venue == y.Venue && x.From == y.From {
			refuse("%s has two rates from the same day", Clip(y.Venue))
		}
	}
	return wrong
}

// Between is false for NaN.
func Between[T cmp.Ordered](x, low, high T) bool { return x >= low && x <= high }
