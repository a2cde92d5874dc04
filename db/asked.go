package db

import (
	"context"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/track"
)

var askedFields = []field[track.Asked]{
	{"member_id", func(k *track.Asked) any { return &k.MemberID }},
	{"find", func(k *track.Asked) any { return &k.Find }},
	{"asked_on", func(k *track.Asked) any { return &k.On }},
	{"made_at", func(k *track.Asked) any { return &k.At }},
	{"price", func(k *track.Asked) any { return &k.Price }},
	{"net", func(k *track.Asked) any { return &k.Net }},
	{"sale_cash", func(k *track.Asked) any { return &k.SaleCash }},
	{"variance", func(k *track.Asked) any { return &k.Variance }},
}

var finishedFields = []field[track.Finished]{
	{"k.sale_cash", func(f *track.Finished) any { return &f.SaleCash }},
	{"s.sale_price", func(f *track.Finished) any { return blank(&f.SalePrice) }},
	{"s.ended_on", func(f *track.Finished) any { return blank(&f.EndedOn) }},
	{"s.venue", func(f *track.Finished) any { return &f.Venue }},
}

// KeepAsked keeps what finds were asked for, each as it was last asked about,
// and forgets all but the newest.
func (s *Store) KeepAsked(ctx context.Context, group uuid.UUID, asked []track.Asked) error {
	statements := make([]statement, len(asked), len(asked)+1)
	for i := range asked {
		statements[i] = statement{
			sql: "insert into asked_price (group_id, " + expressions(askedFields) + ") values ($1, " +
				parameters(2, len(askedFields)) + `) on conflict (group_id, member_id, find) do update set
				asked_on = excluded.asked_on, made_at = excluded.made_at, price = excluded.price,
				net = excluded.net, sale_cash = excluded.sale_cash, variance = excluded.variance`,
			args: append([]any{group}, places(askedFields, &asked[i])...),
		}
	}
	statements = append(statements, statement{
		sql: `delete from asked_price where group_id = $1 and made_at < (
			select made_at from asked_price where group_id = $1 order by made_at desc offset $2 limit 1)`,
		args: []any{group, track.AskedAtMost - 1},
	})
	return s.run(ctx, service.Tenant{Group: group}, statements...)
}

// Asked returns what the group's finds were asked for, the newest first, and
// those among them that were bought: sold since, or let go without a sale.
func (s *Store) Asked(ctx context.Context, t service.Tenant) (asked []track.Asked, finished []track.Finished, err error) {
	const newest = " from asked_price where group_id = $1 order by made_at desc, find limit $2"
	err = s.run(ctx, t,
		statement{sql: "select " + expressions(askedFields) + newest, args: []any{t.Group, track.AskedAtMost}, read: collect(&asked, askedFields)},
		statement{
			sql: "select " + expressions(finishedFields) + " from (select *" + newest + `) k
				join listing f on f.group_id = $1 and f.member_id = k.member_id and f.ref = k.find
				cross join lateral (
					select l.sale_price, l.ended_on, case when l.sold_venue <> '' then l.sold_venue else l.venue end as venue
					from listing l where l.group_id = $1 and l.piece_id = f.piece_id and l.source = 'own' and (
						l.outcome = 'sold' and l.sale_price is not null and l.ended_on >= k.asked_on or
						l.let_go in ('given_away', 'kept', 'broken_up') and l.let_go_on >= k.asked_on)
					order by l.outcome = 'sold' desc, l.ended_on desc, l.listing_id limit 1) s`,
			args: []any{t.Group, track.AskedAtMost}, read: collect(&finished, finishedFields),
		})
	return asked, finished, err
}
