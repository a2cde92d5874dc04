// Package history tells what happened to a piece in plain words, and writes the
// text that a listing can be posted with.
package history

import (
	"context"

	"github.com/google/uuid"

	"askwright/service"
)

// Service tells histories. It is safe for concurrent use.
type Service struct {
	store     Store
	recording Pieces
}

// New returns a Service.
func New(store Store, pieces Pieces) *Service { return &Service{store: store, recording: pieces} }

// Store reads what happened.
type Store interface {
	// Events tells a listing's facts in the order they were recorded.
	Events(ctx context.Context, t service.Tenant, listing uuid.UUID) ([]service.Event, error)
	// CostLines lists the lines of a piece by their days, the tenant's member's
	// own only.
	CostLines(ctx context.Context, t service.Tenant, piece uuid.UUID) ([]service.CostLine, error)
}

// Pieces finds pieces and listings on file.
type Pieces interface {
	Listing(ctx context.Context, a *service.Actor, id uuid.UUID) (*service.Listing, error)
	Piece(ctx context.Context, a *service.Actor, id uuid.UUID) (*service.Piece, error)
}
