package recording

import (
	"context"

	"github.com/google/uuid"

	"askwright/service"
)

// Pieces reads a page of pieces.
func (s *Service) Pieces(ctx context.Context, a *service.Actor, q service.PieceQuery) (pieces []*service.Piece, more bool, err error) {
	return s.store.Pieces(ctx, a.Tenant(), q)
}

// Piece reads a piece with its listings.
func (s *Service) Piece(ctx context.Context, a *service.Actor, id uuid.UUID) (*service.Piece, error) {
	rows, _, err := s.store.Listings(ctx, a.Tenant(), service.Query{Piece: &id, Sort: []service.SortKey{{Column: "listed_on"}}, Limit: 1000})
	if err != nil {
		return nil, err
	}
	if len(rows) == 0 {
		return nil, service.NoPiece(id)
	}
	return service.PieceOf(rows), nil
}

// PatchPiece changes the piece as it is now: its newest row.
func (s *Service) PatchPiece(ctx context.Context, a *service.Actor, id uuid.UUID, cells service.Cells) (*service.Piece, error) {
	piece, err := s.Piece(ctx, a, id)
	if err != nil {
		return nil, err
	}
	if _, err := s.Patch(ctx, a, piece.Newest().ID, cells, nil); err != nil {
		return nil, err
	}
	return s.Piece(ctx, a, id)
}
