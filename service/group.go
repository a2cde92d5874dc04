package service

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
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

// GroupStore keeps groups and members.
type GroupStore interface {
	// CreateGroup keeps a group with its first member.
	CreateGroup(ctx context.Context, g Group, first Member) error
	// GroupIDs lists all groups, for background work and the commands.
	GroupIDs(ctx context.Context) ([]uuid.UUID, error)
	// Group reads one. ErrNotFound.
	Group(ctx context.Context, t Tenant) (*Group, error)
	// HasAmounts reports whether any amount of money is on file.
	HasAmounts(ctx context.Context, t Tenant) (bool, error)
	// UpdateGroup changes the settings, with an audit row.
	UpdateGroup(ctx context.Context, t Tenant, g Group) error
	Members(ctx context.Context, t Tenant) ([]Member, error)
	// CreateMember adds one, with an audit row. ErrConflict: the name is taken.
	CreateMember(ctx context.Context, t Tenant, m Member) error
	// EndMembership revokes the member's keys and keeps the rows.
	EndMembership(ctx context.Context, t Tenant, member uuid.UUID, at time.Time) error
}

// Location is the group's time zone.
func (g *Group) Location() *time.Location {
	loc, err := time.LoadLocation(g.TimeZone)
	if err != nil {
		return time.UTC // checked when it was set; zones are linked in
	}
	return loc
}

const squareMetresPerSquareFoot = 0.09290304 // exact, from 0.3048 m to the foot

// Settings are the group's decisions in the words of pricing.
func (g *Group) Settings() pricing.Settings {
	s := pricing.DefaultSettings()
	s.FeeRate, s.HoldingRate, s.SalvageRate = g.FeeRate, g.HoldingRate, g.SalvageRate
	s.HorizonDays, s.FlagGain = g.HorizonDays, g.FlagGain
	s.HourValue, s.MinimumProfit = g.HourValue.Major(g.Currency), g.MinimumProfit.Major(g.Currency)
	const monthsPerDay = 12 / 365.25
	s.SpacePrice = g.SpacePrice.Major(g.Currency) * monthsPerDay
	if g.Unit == UnitInch {
		s.SpacePrice /= squareMetresPerSquareFoot
	}
	s.Workshop = pricing.Workshop{Prices: g.shop()}
	for _, o := range g.RefinishOptions {
		s.RefinishOptions = append(s.RefinishOptions, pricing.RefinishOption{
			Finish: o.Finish, Color: o.Color, Materials: o.Materials.Major(g.Currency), Hours: o.Hours, DaysOut: o.DaysOut,
		})
	}
	return s
}

// SettingsFor are the settings for a piece offered at venues, as its column
// has them, on a day.
func (g *Group) SettingsFor(venues string, day pricing.Date) pricing.Settings {
	s := g.Settings()
	s.FeeRate = g.feeRate(venues, day)
	return s
}

// feeRate is the share of the sale price that goes to the venue. Of several
// venues nobody knows which will sell the piece: it is their mean. A venue
// without a rate of its own has the group's.
func (g *Group) feeRate(venues string, day pricing.Date) float64 {
	sum, n := 0.0, 0
	for venue := range strings.SplitSeq(venues, ";") {
		if venue = venueName(venue); venue != "" {
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

// venueName is a venue's name as it is compared: members write it in any case
// and spacing.
func venueName(s string) string { return strings.Join(strings.Fields(strings.ToLower(s)), " ") }

// NewGroup returns a group with the usual settings.
func NewGroup(name string, currency Currency) Group {
	d := pricing.DefaultSettings()
	return Group{
		Name: name, Currency: currency, Unit: UnitCentimetre, TimeZone: "UTC",
		FeeRate: d.FeeRate, HoldingRate: d.HoldingRate, SalvageRate: d.SalvageRate, HorizonDays: d.HorizonDays,
		FlagGain: d.FlagGain,
	}
}

// CreateGroup makes a group, its first member and that member's admin key,
// whose text is returned.
func (s *Service) CreateGroup(ctx context.Context, g Group, member string) (*Group, string, error) {
	if g.ID == uuid.Nil {
		g.ID = newID()
	}
	g.CreatedAt = s.now()
	if err := g.validate(); err != nil {
		return nil, "", err
	}
	name, err := memberName(member)
	if err != nil {
		return nil, "", err
	}
	first := Member{ID: newID(), Name: name, JoinedAt: g.CreatedAt}
	if err := s.store.CreateGroup(ctx, g, first); err != nil {
		return nil, "", fmt.Errorf("create the group: %w", err)
	}
	t := Tenant{Group: g.ID, Member: first.ID, At: g.CreatedAt}
	_, secret, err := s.issueKey(ctx, t, NewKey{MemberID: first.ID, Scope: ScopeAdmin, Label: "first key"})
	return &g, secret, err
}

// Groups lists all groups, for the commands.
func (s *Service) Groups(ctx context.Context) ([]*Group, error) {
	ids, err := s.store.GroupIDs(ctx)
	if err != nil {
		return nil, fmt.Errorf("list the groups: %w", err)
	}
	groups := make([]*Group, len(ids))
	for i, id := range ids {
		if groups[i], err = s.store.Group(ctx, Tenant{Group: id}); err != nil {
			return nil, fmt.Errorf("read the group %s: %w", id, err)
		}
	}
	return groups, nil
}

// Operator acts for a member as whoever runs the program: with an admin's
// scope and no key. ErrNotFound: no such group or member.
func (s *Service) Operator(ctx context.Context, group uuid.UUID, member string) (*Actor, error) {
	g, err := s.store.Group(ctx, Tenant{Group: group})
	if isNotFound(err) {
		return nil, refuse(ErrNotFound, "there is no group with the id %s", group)
	}
	if err != nil {
		return nil, fmt.Errorf("read the group: %w", err)
	}
	members, err := s.store.Members(ctx, Tenant{Group: group})
	if err != nil {
		return nil, fmt.Errorf("read the members: %w", err)
	}
	names := make([]string, 0, len(members))
	for _, m := range members {
		if strings.EqualFold(m.Name, strings.TrimSpace(member)) {
			now := s.now()
			return &Actor{Group: g, MemberID: m.ID, Member: m.Name, Scope: ScopeAdmin, Now: now, Today: pricing.DateOf(now.In(g.Location()))}, nil
		}
		names = append(names, m.Name)
	}
	return nil, refuse(ErrNotFound, "%s has no member named %q; it has %s", g.Name, member, strings.Join(names, ", "))
}

// Operators are whoever runs the program in the place of each member of a
// group. ErrNotFound: no such group.
func (s *Service) Operators(ctx context.Context, group uuid.UUID) ([]*Actor, error) {
	members, err := s.store.Members(ctx, Tenant{Group: group})
	if err != nil {
		return nil, fmt.Errorf("read the members: %w", err)
	}
	if len(members) == 0 {
		return nil, refuse(ErrNotFound, "there is no group with the id %s", group)
	}
	actors := make([]*Actor, len(members))
	for i, m := range members {
		if actors[i], err = s.Operator(ctx, group, m.Name); err != nil {
			return nil, err
		}
	}
	return actors, nil
}

// UpdateGroup changes the group's settings: edit alters a copy of them.
func (s *Service) UpdateGroup(ctx context.Context, a *Actor, edit func(*Group) error) (*Group, error) {
	if !a.Can(ScopeAdmin) {
		return nil, refuse(ErrForbidden, "changing the group needs an admin key")
	}
	g := *a.Group
	if err := edit(&g); err != nil {
		return nil, err
	}
	if err := g.validate(); err != nil {
		return nil, err
	}
	if g.Currency != a.Group.Currency {
		has, err := s.store.HasAmounts(ctx, a.Tenant())
		if err != nil {
			return nil, fmt.Errorf("look for amounts: %w", err)
		}
		if has {
			return nil, refuse(ErrConflict, "the currency cannot change: there are amounts in %s on file", a.Group.Currency.Code)
		}
	}
	if err := s.store.UpdateGroup(ctx, a.Tenant(), g); err != nil {
		return nil, fmt.Errorf("change the group: %w", err)
	}
	return s.store.Group(ctx, a.Tenant())
}

func (g *Group) validate() error {
	var wrong []FieldError
	check := func(ok bool, column, reason string) {
		if !ok {
			wrong = append(wrong, FieldError{Column: column, Reason: reason})
		}
	}
	g.Name = strings.TrimSpace(g.Name)
	check(g.Name != "" && checkText(g.Name, 100) == nil, "name", "give the group a name of at most 100 characters")
	_, known := CurrencyByCode(g.Currency.Code)
	check(known, "currency", "expected an ISO 4217 code such as USD")
	check(oneOf(g.Unit, units), "unit", "expected in or cm")
	_, err := time.LoadLocation(g.TimeZone)
	check(err == nil && g.TimeZone != "" && g.TimeZone != "Local", "timezone", "expected a name such as America/Chicago")
	check(oneOf(g.DateOrder, []string{"", DateOrderMDY, DateOrderDMY}), "date_order", "expected mdy, dmy or nothing")
	check(between(int64(g.HourValue), 0, maxMinor), "hour_value", "must not be negative")
	check(between(int64(g.SpacePrice), 0, maxMinor), "space_price", "must not be negative")
	check(between(int64(g.MinimumProfit), 0, maxMinor), "minimum_profit", "must not be negative")
	check(between(int64(g.DistanceCost), 0, maxMinor), "distance_cost", "must not be negative")
	check(between(g.FeeRate, 0, 0.9), "fee_rate", "expected a share from 0 to 0.9")
	check(between(g.HoldingRate, 0, 0.1), "holding_rate", "expected a share a day from 0 to 0.1")
	check(between(g.SalvageRate, 0, 1), "salvage_rate", "expected a share from 0 to 1")
	check(between(g.HorizonDays, 14, 730), "horizon_days", "expected 14 to 730 days")
	check(between(g.FlagGain, 0, 1), "flag_gain", "expected a share from 0 to 1")
	wrong = append(wrong, g.checkVenueFees()...)
	wrong = append(wrong, g.checkMaterialPrices()...)
	check(len(g.RefinishOptions) <= 50, "refinish_options", "at most 50")
	for i := range g.RefinishOptions {
		o := &g.RefinishOptions[i]
		o.Finish, o.Color = canonicalWord(o.Finish), canonicalWord(o.Color)
		check(o.Finish != "" && o.Materials >= 0 && between(o.Hours, 0, 1000) && between(o.DaysOut, 0, 365), "refinish_options",
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
		f.Venue = venueName(f.Venue)
		if f.Venue == "" || strings.Contains(f.Venue, ";") || checkText(f.Venue, 200) != nil {
			refuse("rate %d needs the name of one venue, of at most 200 characters", i+1)
		}
		if !between(f.Rate, 0, 0.9) {
			refuse("%s: expected a rate from 0 to 0.9", cmp.Or(clip(f.Venue), "rate "+strconv.Itoa(i+1)))
		}
	}
	slices.SortStableFunc(g.VenueFees, func(x, y VenueFee) int {
		return cmp.Or(cmp.Compare(x.Venue, y.Venue), cmp.Compare(x.From, y.From))
	})
	for i := 1; i < len(g.VenueFees); i++ {
		if x, y := g.VenueFees[i-1], g.VenueFees[i]; x.Venue == y.Venue && x.From == y.From {
			refuse("%s has two rates from the same day", clip(y.Venue))
		}
	}
	return wrong
}

// between is false for NaN.
func between[T cmp.Ordered](x, low, high T) bool { return x >= low && x <= high }

// Members lists the people of the group.
func (s *Service) Members(ctx context.Context, a *Actor) ([]Member, error) {
	return s.store.Members(ctx, a.Tenant())
}

// CreateMember adds a person.
func (s *Service) CreateMember(ctx context.Context, a *Actor, name string) (*Member, error) {
	if !a.Can(ScopeAdmin) {
		return nil, refuse(ErrForbidden, "adding a member needs an admin key")
	}
	name, err := memberName(name)
	if err != nil {
		return nil, err
	}
	m := Member{ID: newID(), Name: name, JoinedAt: s.now()}
	if err := s.store.CreateMember(ctx, a.Tenant(), m); err != nil {
		if errors.Is(err, ErrConflict) {
			return nil, refuse(ErrConflict, "there is already a member named %s", name)
		}
		return nil, fmt.Errorf("add the member: %w", err)
	}
	return &m, nil
}

// EndMembership lets a member go: the rows stay, the keys and webhooks end.
func (s *Service) EndMembership(ctx context.Context, a *Actor, member uuid.UUID) error {
	if !a.Can(ScopeAdmin) {
		return refuse(ErrForbidden, "ending a membership needs an admin key")
	}
	return s.store.EndMembership(ctx, a.Tenant(), member, s.now())
}

func memberName(name string) (string, error) {
	name = strings.TrimSpace(name)
	if name == "" || checkText(name, 60) != nil {
		return "", Invalid("name", "give the member a name of at most 60 characters")
	}
	return name, nil
}

func isNotFound(err error) bool { return errors.Is(err, ErrNotFound) }
