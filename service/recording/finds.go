package recording

import (
	"context"

	"askwright/service"
)

// NewFindName proposes a name for a find: of the moment, so that nobody has to
// look what is taken.
func NewFindName(a *service.Actor) string {
	return "F-" + a.Now.In(a.Group.Location()).Format("20060102-150405")
}

// KeepFind puts a find on file as it was described. Owner-only cells but the
// estimate are left out: beforehand hours and costs are guesses, on file they are
// what was spent. A name that is taken is an ErrConflict: nothing is overwritten.
func (s *Service) KeepFind(ctx context.Context, a *service.Actor, find service.Cells) (*service.Change, error) {
	cells := service.Cells{"stage": service.StageFound}
	for name, cell := range find {
		if c, ok := service.ColumnByName(name); ok && (!c.OwnerOnly || name == "own_price") {
			cells[name] = cell
		}
	}
	return s.record(ctx, a, cells, true)
}

// OpenFinds are the actor's own finds that were neither bought nor passed over.
func (s *Service) OpenFinds(ctx context.Context, a *service.Actor) ([]*service.Listing, error) {
	pieces, _, err := s.Pieces(ctx, a, service.PieceQuery{Member: a.MemberID, State: []string{service.StageFound}, Limit: service.MaxSubjects})
	rows := make([]*service.Listing, len(pieces))
	for i, p := range pieces {
		rows[i] = p.Newest()
	}
	return rows, err
}
