package db

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/service"
)

// groupRow is group_settings with the change number.
type groupRow struct {
	GroupID         uuid.UUID
	Name            string
	Currency        string
	Unit            string
	Timezone        string
	DateOrder       string
	HourValue       int64
	SpacePrice      int64
	MinimumProfit   int64
	FeeRate         float64
	HoldingRate     float64
	SalvageRate     float64
	HorizonDays     int
	FlagGain        float64
	RefinishOptions []byte
	VenueFees       []byte
	DistanceCost    int64
	MaterialPrices  []byte
	CreatedAt       time.Time
	ChangeNo        int64
}

const groupColumns = `s.group_id, s.name, s.currency, s.unit, s.timezone, s.date_order, s.hour_value, s.space_price,
	s.minimum_profit, s.fee_rate, s.holding_rate, s.salvage_rate, s.horizon_days, s.flag_gain, s.refinish_options,
	s.venue_fees, s.distance_cost, s.material_prices, s.created_at, g.change_no`

func (r *groupRow) fields() []any {
	return []any{&r.GroupID, &r.Name, &r.Currency, &r.Unit, &r.Timezone, &r.DateOrder, &r.HourValue, &r.SpacePrice,
		&r.MinimumProfit, &r.FeeRate, &r.HoldingRate, &r.SalvageRate, &r.HorizonDays, &r.FlagGain, &r.RefinishOptions,
		&r.VenueFees, &r.DistanceCost, &r.MaterialPrices, &r.CreatedAt, &r.ChangeNo}
}

func (r *groupRow) group() (*service.Group, error) {
	currency, ok := service.CurrencyByCode(r.Currency)
	if !ok {
		return nil, fmt.Errorf("group %s: unknown currency %s", r.GroupID, r.Currency)
	}
	g := &service.Group{
		ID: r.GroupID, Name: r.Name, Currency: currency, Unit: r.Unit, TimeZone: r.Timezone, DateOrder: r.DateOrder,
		HourValue: service.Money(r.HourValue), SpacePrice: service.Money(r.SpacePrice), MinimumProfit: service.Money(r.MinimumProfit), DistanceCost: service.Money(r.DistanceCost),
		FeeRate: r.FeeRate, HoldingRate: r.HoldingRate, SalvageRate: r.SalvageRate, HorizonDays: r.HorizonDays,
		FlagGain: r.FlagGain, ChangeNo: r.ChangeNo, CreatedAt: r.CreatedAt,
	}
	if err := json.Unmarshal(r.RefinishOptions, &g.RefinishOptions); err != nil {
		return nil, fmt.Errorf("group %s: refinish options: %w", r.GroupID, err)
	}
	if err := json.Unmarshal(r.VenueFees, &g.VenueFees); err != nil {
		return nil, fmt.Errorf("group %s: venue fees: %w", r.GroupID, err)
	}
	if err := json.Unmarshal(r.MaterialPrices, &g.MaterialPrices); err != nil {
		return nil, fmt.Errorf("group %s: material prices: %w", r.GroupID, err)
	}
	return g, nil
}

// settings are the values of group_settings after group_id, in order.
func settings(g *service.Group) ([]any, error) {
	options, err := json.Marshal(append([]service.RefinishOption{}, g.RefinishOptions...))
	if err != nil {
		return nil, err
	}
	fees, err := json.Marshal(append([]service.VenueFee{}, g.VenueFees...))
	if err != nil {
		return nil, err
	}
	prices, err := json.Marshal(append([]service.MaterialPrice{}, g.MaterialPrices...))
	if err != nil {
		return nil, err
	}
	return []any{g.ID, g.Name, g.Currency.Code, g.Unit, g.TimeZone, g.DateOrder, int64(g.HourValue), int64(g.SpacePrice),
		int64(g.MinimumProfit), g.FeeRate, g.HoldingRate, g.SalvageRate, g.HorizonDays, g.FlagGain, options, fees, int64(g.DistanceCost), prices}, nil
}

// CreateGroup keeps a group with its first member.
func (s *Store) CreateGroup(ctx context.Context, g service.Group, first service.Member) error {
	values, err := settings(&g)
	if err != nil {
		return err
	}
	return s.run(ctx, service.Tenant{Group: g.ID, Member: first.ID},
		statement{sql: "insert into groups (group_id, change_no) values ($1, 1)", args: []any{g.ID}},
		statement{sql: `
			insert into group_settings (group_id, name, currency, unit, timezone, date_order, hour_value, space_price,
				minimum_profit, fee_rate, holding_rate, salvage_rate, horizon_days, flag_gain, refinish_options, venue_fees, distance_cost,
				material_prices, created_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19)`, args: append(values, g.CreatedAt)},
		insertMember(g.ID, first),
	)
}

func insertMember(group uuid.UUID, m service.Member) statement {
	return statement{
		sql:  "insert into member (group_id, member_id, name, joined_at) values ($1, $2, $3, $4)",
		args: []any{group, m.ID, m.Name, m.JoinedAt},
	}
}

// GroupIDs lists all groups in the order of their making.
func (s *Store) GroupIDs(ctx context.Context) ([]uuid.UUID, error) {
	rows, err := s.pool.Query(ctx, "select group_id from groups order by group_id")
	if err != nil {
		return nil, translate(err)
	}
	ids, err := pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
	return ids, translate(err)
}

// Changes lists all groups with their change numbers.
func (s *Store) Changes(ctx context.Context) (map[uuid.UUID]int64, error) {
	rows, err := s.pool.Query(ctx, "select group_id, change_no from groups")
	if err != nil {
		return nil, translate(err)
	}
	changes := make(map[uuid.UUID]int64)
	var id uuid.UUID
	var changeNo int64
	_, err = pgx.ForEachRow(rows, []any{&id, &changeNo}, func() error {
		changes[id] = changeNo
		return nil
	})
	return changes, translate(err)
}

// Group reads the tenant's group.
func (s *Store) Group(ctx context.Context, t service.Tenant) (*service.Group, error) {
	var r groupRow
	err := s.run(ctx, t, statement{
		sql:  "select " + groupColumns + " from group_settings s join groups g using (group_id) where s.group_id = $1",
		args: []any{t.Group}, read: one(r.fields()...),
	})
	if err != nil {
		return nil, err
	}
	return r.group()
}

// HasAmounts reports whether any amount of money is on file. What other members
// paid is not to be seen here, so a piece of theirs counts as one that has a
// cost.
func (s *Store) HasAmounts(ctx context.Context, t service.Tenant) (bool, error) {
	var has bool
	err := s.run(ctx, t, statement{
		sql: `select exists (select from listing where group_id = $1 and (ask is not null or estimate is not null or seller_ask is not null))
		          or exists (select from cost_line where group_id = $1) or exists (select from listing where group_id = $1 and member_id <> $2)
		          or exists (select from group_settings where group_id = $1 and (hour_value > 0 or space_price > 0 or minimum_profit > 0 or distance_cost > 0 or material_prices <> '[]'))`,
		args: []any{t.Group, t.Member}, read: one(&has),
	})
	return has, err
}

// UpdateGroup changes the settings.
func (s *Store) UpdateGroup(ctx context.Context, t service.Tenant, g service.Group) error {
	values, err := settings(&g)
	if err != nil {
		return err
	}
	return s.write(ctx, t, func(w *writer) error {
		if err := w.exec(ctx, `
			update group_settings set name = $2, currency = $3, unit = $4, timezone = $5, date_order = $6, hour_value = $7,
				space_price = $8, minimum_profit = $9, fee_rate = $10, holding_rate = $11, salvage_rate = $12,
				horizon_days = $13, flag_gain = $14, refinish_options = $15, venue_fees = $16, distance_cost = $17,
				material_prices = $18
			where group_id = $1`, values...); err != nil {
			return err
		}
		return w.audit(ctx, "group changed", g.ID, uuid.Nil, g)
	})
}

// Members lists the people of the group by name.
func (s *Store) Members(ctx context.Context, t service.Tenant) ([]service.Member, error) {
	type row struct {
		MemberID uuid.UUID
		Name     string
		JoinedAt time.Time
		LeftAt   *time.Time
	}
	var members []service.Member
	err := s.run(ctx, t, statement{
		sql:  "select member_id, name, joined_at, left_at from member where group_id = $1 order by lower(name)",
		args: []any{t.Group},
		read: collect(&members, func(r *row) (service.Member, error) {
			return service.Member{ID: r.MemberID, Name: r.Name, JoinedAt: r.JoinedAt, LeftAt: timeOf(r.LeftAt)}, nil
		}),
	})
	return members, err
}

// CreateMember adds a person.
func (s *Store) CreateMember(ctx context.Context, t service.Tenant, m service.Member) error {
	return s.write(ctx, t, func(w *writer) error {
		insert := insertMember(t.Group, m)
		if err := w.exec(ctx, insert.sql, insert.args...); err != nil {
			return err
		}
		return w.audit(ctx, "member added", m.ID, uuid.Nil, m)
	})
}

// EndMembership notes that the member left, revokes their keys and deletes their
// webhooks.
func (s *Store) EndMembership(ctx context.Context, t service.Tenant, member uuid.UUID, at time.Time) error {
	return s.write(ctx, t, func(w *writer) error {
		if err := w.execOne(ctx, "update member set left_at = coalesce(left_at, $3) where group_id = $1 and member_id = $2", t.Group, member, at); err != nil {
			return err
		}
		if err := w.exec(ctx, "update api_key set revoked_at = coalesce(revoked_at, $3) where group_id = $1 and member_id = $2", t.Group, member, at); err != nil {
			return err
		}
		if err := w.exec(ctx, "delete from webhook where group_id = $1 and member_id = $2", t.Group, member); err != nil {
			return err
		}
		return w.audit(ctx, "member left", member, uuid.Nil, nil)
	})
}

func timeOf(t *time.Time) time.Time {
	if t == nil {
		return time.Time{}
	}
	return *t
}

func timeArg(t time.Time) *time.Time {
	if t.IsZero() {
		return nil
	}
	return &t
}
