package db

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
)

// costLineRow is a row of cost_line with its piece and what undid it.
type costLineRow struct {
	LineID    uuid.UUID
	PieceID   uuid.UUID
	ListingID uuid.UUID
	Ref       string
	Kind      string
	Amount    int64
	OnDate    time.Time
	Step      string
	Note      string
	At        time.Time
	Voids     *uuid.UUID
	VoidedBy  *uuid.UUID
}

func (r *costLineRow) line() (service.CostLine, error) {
	return service.CostLine{
		ID: r.LineID, PieceID: r.PieceID, ListingID: r.ListingID, Ref: r.Ref, Kind: service.CostKind(r.Kind), Amount: service.Amount(r.Amount),
		On: dateOf(&r.OnDate), Step: r.Step, Note: r.Note, At: r.At, Voids: valueOf(r.Voids), VoidedBy: valueOf(r.VoidedBy),
	}, nil
}

// ownCosts are the cost lines of the member's own listings; $1 is the group,
// $2 the member.
const ownCosts = `
	from cost_line c
	join listing l on l.group_id = c.group_id and l.listing_id = c.listing_id and l.member_id = c.member_id and l.source = 'own'
	left join cost_line v on v.group_id = c.group_id and v.voids = c.line_id
	where c.group_id = $1 and c.member_id = $2`

const selectCostLines = `select c.line_id, l.piece_id, c.listing_id, l.ref, c.kind, c.amount, c.on_date, c.step, c.note, c.at,
	c.voids, v.line_id as voided_by` + ownCosts

// CostLines lists the lines of one of the member's pieces by their days.
func (s *Store) CostLines(ctx context.Context, t service.Tenant, piece uuid.UUID) ([]service.CostLine, error) {
	var lines []service.CostLine
	err := s.run(ctx, t, statement{
		sql:  selectCostLines + " and l.piece_id = $3 order by c.on_date, c.change_no, c.line_id",
		args: []any{t.Group, t.Member, piece}, read: collect(&lines, (*costLineRow).line),
	})
	return lines, err
}

// costTotalRow is what a piece cost, of one kind.
type costTotalRow struct {
	PieceID uuid.UUID
	Kind    string
	Total   int64
	Until   int64
}

// Books reads the member's own listings with what they cost. The statements
// see one snapshot, so that lines, sums and sales belong together.
func (s *Store) Books(ctx context.Context, t service.Tenant, until pricing.Date, withLines bool) (*profit.Books, error) {
	rows, args, err := listingQuery(t, service.Query{Member: t.Member, Words: map[string][]string{"source": {service.SourceOwn}}})
	if err != nil {
		return nil, err
	}
	books := &profit.Books{Costs: make(map[uuid.UUID]profit.PieceCosts)}
	var totals []costTotalRow
	statements := []statement{
		{sql: rows, args: args, read: collect(&books.Rows, (*listingRow).listing)},
		{
			sql: `select l.piece_id, c.kind, sum(c.amount)::bigint as total,
					coalesce(sum(c.amount) filter (where c.on_date <= $3), 0)::bigint as until` + ownCosts + `
				and c.voids is null and v.line_id is null group by l.piece_id, c.kind`,
			args: []any{t.Group, t.Member, dateArg(until)},
			read: collect(&totals, func(r *costTotalRow) (costTotalRow, error) { return *r, nil }),
		},
	}
	if withLines {
		statements = append(statements, statement{
			sql:  selectCostLines + " and c.voids is null and v.line_id is null order by c.on_date, c.change_no, c.line_id",
			args: []any{t.Group, t.Member}, read: collect(&books.Lines, (*costLineRow).line),
		})
	}
	err = s.atOneMoment(ctx, t, func(tx pgx.Tx) error {
		batch := &pgx.Batch{}
		for _, st := range statements {
			batch.Queue(st.sql, st.args...)
		}
		return sendBatch(ctx, tx, batch, 0, statements)
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
		costs.Total[service.CostKind(r.Kind)], costs.Until[service.CostKind(r.Kind)] = service.Amount(r.Total), service.Amount(r.Until)
	}
	return books, nil
}
