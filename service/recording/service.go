// Package recording takes facts in: rows of files, patches, events, costs and
// finds become changes of listings, and what changed stays told. It knows no
// prices and no advice; what a row means is the domain's.
package recording

import (
	"context"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/service"
)

// Service records what a member tells. It is safe for concurrent use.
type Service struct {
	store    Store
	shown    Shown
	imported rowCounter
}

// New returns a Service. registry takes its metrics; nil: nobody does.
func New(store Store, shown Shown, registry prometheus.Registerer) *Service {
	return &Service{store: store, shown: shown, imported: newRowCounter(registry)}
}

// Shown is what was suggested and may not be on file yet: an own price counts
// only if it came before.
type Shown interface {
	Flush(ctx context.Context) error
}

// Store keeps listings, pieces, events and costs.
type Store interface {
	Listing(ctx context.Context, t service.Tenant, id uuid.UUID) (*service.Listing, error)
	// Listings returns at most q.Limit rows, and whether there are more.
	Listings(ctx context.Context, t service.Tenant, q service.Query) ([]*service.Listing, bool, error)
	// EachListing streams all rows of the query, ignoring its limit.
	EachListing(ctx context.Context, t service.Tenant, q service.Query, yield func(*service.Listing) error) error
	// Pieces returns at most q.Limit pieces in the order of their refs, each
	// with its listings, and whether there are more.
	Pieces(ctx context.Context, t service.Tenant, q service.PieceQuery) ([]*service.Piece, bool, error)
	// ListingChanges returns at most q.Limit changes, and whether there are more.
	ListingChanges(ctx context.Context, t service.Tenant, q service.ChangeQuery) ([]service.RowChange, bool, error)
	// Events tells a listing's facts in the order they were recorded.
	Events(ctx context.Context, t service.Tenant, listing uuid.UUID) ([]service.Event, error)
	// CostLines lists the lines of a piece by their days, the tenant's member's
	// own only.
	CostLines(ctx context.Context, t service.Tenant, piece uuid.UUID) ([]service.CostLine, error)
	// Write runs do in one transaction that holds the group's turn to write:
	// writes of one group follow one another. do may return a value that
	// wraps errUnwritten to roll back without that being a failure.
	Write(ctx context.Context, t service.Tenant, do func(Writer) error) error
	// Once runs do in a transaction that every write made with its context
	// joins, and keeps the answer in the same one: either both are on file or
	// neither. It returns the answer kept under the key since the given time,
	// if there is one, and then runs nothing. ErrInProgress while another request
	// with the key is; ErrAnotherRequest when the kept one was another.
	// What do refuses is not kept.
	Once(ctx context.Context, t service.Tenant, r service.OnceRequest, since time.Time, do func(context.Context) (*service.OnceAnswer, error)) (*service.OnceAnswer, error)
}

// Writer is one transaction of one group.
type Writer interface {
	// ListingsByRef finds a member's rows; refs that are not on file are left out.
	ListingsByRef(ctx context.Context, member uuid.UUID, refs []string) (map[string]*service.Listing, error)
	Listing(ctx context.Context, id uuid.UUID) (*service.Listing, error)
	// ListingsByID finds rows of any member.
	ListingsByID(ctx context.Context, ids []uuid.UUID) ([]*service.Listing, error)
	// PieceIDs finds pieces by the member's names for them.
	PieceIDs(ctx context.Context, member uuid.UUID, refs []string) (map[string]uuid.UUID, error)
	// OpenListings finds the open own listing of each piece that has one.
	OpenListings(ctx context.Context, pieces []uuid.UUID) (map[uuid.UUID]*service.Listing, error)
	// PieceListings reads all rows of a piece; none: there is no such piece.
	PieceListings(ctx context.Context, piece uuid.UUID) ([]*service.Listing, error)
	Event(ctx context.Context, id uuid.UUID) (*service.Event, error)
	// Events tells a listing's facts in the order they were recorded.
	Events(ctx context.Context, listing uuid.UUID) ([]service.Event, error)
	// EstimatesSeen returns, for each of the rows that a suggestion was kept
	// for, the estimate that came with the first one; zero: none did.
	EstimatesSeen(ctx context.Context, rows []*service.Listing) (map[uuid.UUID]service.Money, error)
	// Save writes the rows, their pieces where new, their events and ledger
	// lines, and stamps them with the group's next change number.
	Save(ctx context.Context, changes []*service.Change) error
	// Delete removes a mistaken row; the audit keeps what it was.
	Delete(ctx context.Context, l *service.Listing) error
}
