package db

import (
	"context"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgtype"

	"askwright/service"
)

// settingsFields are the columns of group_settings that can be changed.
var settingsFields = []field[service.Group]{
	{"name", func(g *service.Group) any { return &g.Name }},
	{"currency", func(g *service.Group) any { return currencyCode{&g.Currency} }},
	{"unit", func(g *service.Group) any { return &g.Unit }},
	{"timezone", func(g *service.Group) any { return &g.TimeZone }},
	{"date_order", func(g *service.Group) any { return &g.DateOrder }},
	{"hour_value", func(g *service.Group) any { return &g.HourValue }},
	{"space_price", func(g *service.Group) any { return &g.SpacePrice }},
	{"minimum_profit", func(g *service.Group) any { return &g.MinimumProfit }},
	{"fee_rate", func(g *service.Group) any { return &g.FeeRate }},
	{"holding_rate", func(g *service.Group) any { return &g.HoldingRate }},
	{"salvage_rate", func(g *service.Group) any { return &g.SalvageRate }},
	{"horizon_days", func(g *service.Group) any { return &g.HorizonDays }},
	{"flag_gain", func(g *service.Group) any { return &g.FlagGain }},
	{"refinish_options", func(g *service.Group) any { return list[service.RefinishOption]{&g.RefinishOptions} }},
	{"venue_fees", func(g *service.Group) any { return list[service.VenueFee]{&g.VenueFees} }},
	{"distance_cost", func(g *service.Group) any { return &g.DistanceCost }},
	{"material_prices", func(g *service.Group) any { return list[service.MaterialPrice]{&g.MaterialPrices} }},
}

// groupFields are those of group_settings s with the change number of groups g.
var groupFields = append([]field[service.Group]{
	{"s.group_id", func(g *service.Group) any { return &g.ID }},
	{"s.created_at", func(g *service.Group) any { return &g.CreatedAt }},
	{"g.change_no", func(g *service.Group) any { return &g.ChangeNo }},
}, prefixed("s.", settingsFields)...)

// currencyCode is a place for a currency, stored as its code.
type currencyCode struct{ at *service.Currency }

// TextValue writes the code.
func (c currencyCode) TextValue() (pgtype.Text, error) {
	return pgtype.Text{String: c.at.Code, Valid: true}, nil
}

// ScanText reads it.
func (c currencyCode) ScanText(v pgtype.Text) error {
	currency, ok := service.CurrencyByCode(v.String)
	if !ok {
		return fmt.Errorf("unknown currency %s", v.String)
	}
	*c.at = currency
	return nil
}

// CreateGroup keeps a group with its first member.
func (s *Store) CreateGroup(ctx context.Context, g service.Group, first service.Member) error {
	return s.run(ctx, service.Tenant{Group: g.ID, Member: first.ID},
		statement{sql: "insert into groups (group_id, change_no) values ($1, 1)", args: []any{g.ID}},
		statement{
			sql: "insert into group_settings (group_id, created_at, " + expressions(settingsFields) + ") values (" +
				parameters(1, 2+len(settingsFields)) + ")",
			args: append([]any{g.ID, g.CreatedAt}, places(settingsFields, &g)...),
		},
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
	g := &service.Group{}
	err := s.run(ctx, t, statement{
		sql:  "select " + expressions(groupFields) + " from group_settings s join groups g using (group_id) where s.group_id = $1",
		args: []any{t.Group}, read: one(places(groupFields, g)...),
	})
	if err != nil {
		return nil, err
	}
	return g, nil
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
	return s.write(ctx, t, func(w *writer) error {
		if err := w.exec(ctx, "update group_settings set "+assignments(settingsFields, 2)+" where group_id = $1",
			append([]any{g.ID}, places(settingsFields, &g)...)...); err != nil {
			return err
		}
		return w.audit(ctx, "group changed", g.ID, uuid.Nil, g)
	})
}

var memberFields = []field[service.Member]{
	{"member_id", func(m *service.Member) any { return &m.ID }},
	{"name", func(m *service.Member) any { return &m.Name }},
	{"joined_at", func(m *service.Member) any { return &m.JoinedAt }},
	{"left_at", func(m *service.Member) any { return blank(&m.LeftAt) }},
}

// Members lists the people of the group by name.
func (s *Store) Members(ctx context.Context, t service.Tenant) ([]service.Member, error) {
	var members []service.Member
	err := s.run(ctx, t, statement{
		sql:  "select " + expressions(memberFields) + " from member where group_id = $1 order by lower(name)",
		args: []any{t.Group}, read: collect(&members, memberFields),
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
