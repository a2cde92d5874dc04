// Package profit tells what a member's pieces earned, from the ledger that only
// the member sees.
package profit

import (
	"context"

	"askwright/pricing"
	"askwright/service"
)

// Service reports on ledgers. It is safe for concurrent use.
type Service struct{ store Store }

// New returns a Service.
func New(store Store) *Service { return &Service{store: store} }

// Store reads a member's own ledger.
type Store interface {
	// Books reads the member's own listings with what they cost, all of one
	// moment. Sums until a day leave out later lines.
	Books(ctx context.Context, t service.Tenant, until pricing.Date, withLines bool) (*Books, error)
}
