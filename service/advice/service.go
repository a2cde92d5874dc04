// Package advice answers the group's questions: what to ask, which listing is
// stuck and what would move it, whether to take an offer, what to pay, which
// finish pays, what to do this week. The figures come from pricing; here they
// meet the rows, the members and their money.
package advice

import (
	"context"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/track"
)

// Service gives advice. It is safe for concurrent use.
type Service struct {
	store     Store
	fits      *model.Cache
	track     *track.Service
	recorder  *track.Recorder
	suggested suggestionCounter
	records   workRecords
	kept      keptReviews
}

// New returns a Service. registry takes its metrics; nil: nobody does.
func New(store Store, fits *model.Cache, record *track.Service, recorder *track.Recorder, registry prometheus.Registerer) *Service {
	return &Service{store: store, fits: fits, track: record, recorder: recorder, suggested: newSuggestionCounter(registry)}
}

// Store is what advice reads beside the group's model.
type Store interface {
	Listing(ctx context.Context, t service.Tenant, id uuid.UUID) (*service.Listing, error)
	// Listings returns at most q.Limit rows, and whether there are more.
	Listings(ctx context.Context, t service.Tenant, q service.Query) ([]*service.Listing, bool, error)
	// EachListing streams all rows of the query, ignoring its limit.
	EachListing(ctx context.Context, t service.Tenant, q service.Query, yield func(*service.Listing) error) error
	// EachWorked streams the member's own listings with hours or materials that
	// changed after a change number, and tells which of all listings changed or
	// were deleted since, and up to which change number that holds.
	EachWorked(ctx context.Context, t service.Tenant, since int64, yield func(*service.Listing) error) (
		changed []uuid.UUID, upTo int64, err error)
	// Events tells a listing's facts in the order they were recorded.
	Events(ctx context.Context, t service.Tenant, listing uuid.UUID) ([]service.Event, error)
	// HoldEvents tells the holds of all listings and their releases up to a day,
	// undone ones left out, and which of these listings are sold.
	HoldEvents(ctx context.Context, t service.Tenant, until pricing.Date) (events []service.Event, sold []uuid.UUID, err error)
	// OfferEvents tells the offers for the member's open listings since a day, and
	// what was said to them, undone ones left out.
	OfferEvents(ctx context.Context, t service.Tenant, since pricing.Date) ([]service.Event, error)
	// Nearest finds, for each subject, the sold and unsold listings nearest to
	// it in kind and size, as far as they are ranked by: see model.NearestSold and
	// model.NearestUnsold.
	Nearest(ctx context.Context, t service.Tenant, subjects []model.CompQuery) ([][]pricing.Listing, error)
	// NearRows reads listings of the group by their ids, without what is the
	// owner's alone.
	NearRows(ctx context.Context, t service.Tenant, ids []uuid.UUID) ([]*service.Listing, error)
}
