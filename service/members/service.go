// Package members knows groups, who is in them and how they get in: members,
// invitations, keys, sessions. It also checks a whole group (askwright verify).
package members

import (
	"context"
	"log/slog"
	"time"

	"github.com/google/uuid"

	"askwright/service"
)

// Service keeps groups, members and keys. It is safe for concurrent use.
type Service struct {
	store    Store
	now      func() time.Time
	logger   *slog.Logger
	usedKeys usedKeys
}

// New returns a Service with its clock; "today" is that time's day in the
// group's time zone.
func New(store Store, now func() time.Time, logger *slog.Logger) *Service {
	return &Service{store: store, now: now, logger: logger, usedKeys: usedKeys{at: make(map[uuid.UUID]time.Time)}}
}

// Store keeps groups, members and keys, and reads what Verify checks.
type Store interface {
	GroupStore
	InvitationStore
	KeyStore
	VerifyStore
	// EachListing streams all rows of the query, ignoring its limit.
	EachListing(ctx context.Context, t service.Tenant, q service.Query, yield func(*service.Listing) error) error
}
