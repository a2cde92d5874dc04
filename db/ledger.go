package db

import (
	"context"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
)

// costLineFields are those of a cost line with its piece and what undid it.
var costLineFields = []field[service.CostLine]{
	{"c.line_id", func(l *service.CostLine) any { return &l.ID }},
	{"l.piece_id", func(l *service.CostLine) any { return &l.PieceID }},
	{"c.listing_id", func(l *service.CostLine) any { return &l.ListingID }},
	{"l.ref", func(l *service.CostLine) any { return &l.Ref }},
	{"c.kind", func(l *service.CostLine) any { return &l.Kind }},
	{"c.amount", func(l *service.CostLine) any { return &l.Amount }},
	{"c.on_date", func(l *service.CostLine) any { return &l.On }},
	{"c.step", func(l *service.CostLine) any { return &l.Step }},
	{"c.note", func(l *service.CostLine) any { return &l.Note }},
	{"c.at", func(l *service.CostLine) any { return &l.At }},
	{"c.voids", func(l *service.CostLine) any { return blank(&l.Voids) }},
	{"v.line_id", func(l *service.CostLine) any { return blank(&l.VoidedBy) }},
}

// ownCosts are the cost lines of the member's own listings; $1 is the group,
// $2 the member.
const ownCosts = `
	from cost_line c
	join listing l on l.group_id = c.group_id and l.listing_id = c.listing_id and l.member_id = c.member_id and l.source = 'own'
	left join cost_line v on v.group_id = c.group_id and v.voids = c.line_id
	where c.group_id = $1 and c.member_id = $2`

var selectCostLines = "select " + expressions(costLineFields) + ownCosts

// CostLines lists the lines of one of the member's pieces by their days.
func (s *Store) CostLines(ctx context.Context, t service.Tenant, piece uuid.UUID) ([]service.CostLine, error) {
	var lines []service.CostLine
	err := s.run(ctx, t, statement{
		sql:  selectCostLines + " and l.piece_id = $3 order by c.on_date, c.change_no, c.line_id",
		args: []any{t.Group, t.Member, piece}, read: collect(&lines, costLineFields),
	})
	return lines, err
}

// costTotalRow is what a piece cost, of one kind.
type costTotalRow struct {
	PieceID uuid.UUID
	Kind    service.CostKind
	Total   service.Amount
	Until   service.Amount
}

// Books reads the member's own listings with what they cost. The statements
// see one snapshot, so that lines, sums and sales belong together.
func (s *Store) Books(ctx context.Context, t service.Tenant, until pricing.Date, withLines bool) (*profit.Books, error) {
	rows, args, err := listingQuery(t, service.Query{Member: t.Member, Words: map[string][]string{"source": {service.SourceOwn}}}, "")
	if err != nil {
		return nil, err
	}
	books := &profit.Books{Costs: make(map[uuid.UUID]profit.PieceCosts)}
	var totals []costTotalRow
	statements := []statement{
		{sql: rows, args: args, read: collectListings(&books.Rows)},
		{
			sql: `select l.piece_id, c.kind, sum(c.amount)::bigint as total,
					coalesce(sum(c.amount) filter (where c.on_date <= $3), 0)::bigint as until` + ownCosts + `
				and c.voids is null and v.line_id is null group by l.piece_id, c.kind`,
			args: []any{t.Group, t.Member, until},
			read: collectByName(&totals),
		},
	}
	if withLines {
		statements = append(statements, statement{
			sql:  selectCostLines + " and c.voids is null and v.line_id is null order by c.on_date, c.change_no, c.line_id",
			args: []any{t.Group, t.Member}, read: collect(&books.Lines, costLineFields),
		})
	}
	err = s.atOneMoment(ctx, t, func(tx pgx.Tx) error {
		return send(ctx, tx, statements...)
	})
	if err != nil {
		return nil, err
	}
	for _, r := range totals {
		costs, ok := books.Costs[r.PieceID]
		if !ok {
			costs = profit.PieceCosts{Total: make(service.Costs), Until: make(service.Costs)}
			books.Costs[r.PieceID] = costs
		}
		costs.Total[r.Kind], costs.Until[r.Kind] = r.Total, r.Until
	}
	return books, nil
}

// The member's own listings that changed after a change number: $1 is the
// group, $2 the member, $3 the number. The offset keeps the search to the index
// of changes.
const (
	changedOwn = "(select * from listing where group_id = $1 and change_no > $3 and member_id = $2 offset 0)"

	selectChangedOwn = "select listing_id from " + changedOwn + ` l
		union all select listing_id from listing_deleted where group_id = $1 and change_no > $3`
)

// selectWorked are those of them with hours at the bench or materials.
var selectWorked = rowsOf("(select * from " + changedOwn + ` x where exists (select from cost_line c
	where c.group_id = x.group_id and c.listing_id = x.listing_id and c.kind in ('hours', 'materials_cost')))`)

// EachWorked streams what the member's own pieces took: see advice.Store.
func (s *Store) EachWorked(ctx context.Context, t service.Tenant, since int64, yield func(*service.Listing) error) (
	changed []uuid.UUID, upTo int64, err error,
) {
	args := []any{t.Group, t.Member, since}
	err = s.run(ctx, t,
		// The number first: what is written meanwhile comes again next time.
		statement{sql: "select change_no from groups where group_id = $1", args: args[:1], read: one(&upTo)},
		statement{sql: selectChangedOwn, args: args, read: func(rows pgx.Rows) (err error) {
			changed, err = pgx.CollectRows(rows, pgx.RowTo[uuid.UUID])
			return err
		}},
		statement{sql: selectWorked, args: args, read: each(rowFields, yield)},
	)
	return changed, upTo, err
}
