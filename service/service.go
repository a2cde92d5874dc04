// Package service knows the group's work: who may do what, how a row becomes a
// listing, how a listing changes, and how what is on file becomes a suggestion
// or a review. It declares what it needs of storage beside its use and knows
// neither HTTP nor SQL; the figures come from package pricing.
//
// Everything belongs to one group. An Actor, found from a key, names the group
// and the member that a call acts for, and each call to storage runs as them.
package service

import (
	"cmp"
	"log/slog"
	"math/rand/v2"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/pricing"
)

// Service holds the use cases. It is safe for concurrent use.
type Service struct {
	store  Store
	now    func() time.Time
	logger *slog.Logger
	keeper *keeper

	recorder  *recorder
	imported  rowCounter
	suggested suggestionCounter
	sent      deliveryMetrics
	usedKeys  usedKeys
	lines     recordLines
	stopping  chan struct{}
	ages      *listingAges
	prunedAt  time.Time // by Upkeep, which runs alone

	post     Post
	random   func() float64
	tidiedAt time.Time           // by SendNotices, which runs alone
	unhooked map[uuid.UUID]int64 // groups without webhooks, by their change number then; also by SendNotices
}

// Options are what a Service is made of.
type Options struct {
	Store  Store
	Now    func() time.Time // the clock; "today" is its day in the group's time zone
	Logger *slog.Logger
	AtOnce int // listings up to which rates are refitted before an answer; zero: AtOnce

	Registry      prometheus.Registerer // takes the service's metrics; nil: nobody does
	MetricsGroups bool                  // label metrics of listing age with the group's id

	Post   Post           // sends to webhooks; nil: they are off
	Random func() float64 // from 0 to 1, for the jitter of repetitions; nil: math/rand's
}

// New returns a Service.
func New(o Options) *Service {
	if o.Random == nil {
		o.Random = rand.Float64
	}
	return &Service{
		store: o.Store, now: o.Now, logger: o.Logger, keeper: newKeeper(o.Store, o.Registry, cmp.Or(o.AtOnce, AtOnce)), recorder: newRecorder(o.Store, o.Logger),
		imported: newRowCounter(o.Registry), suggested: newSuggestionCounter(o.Registry), sent: newDeliveryMetrics(o.Registry),
		usedKeys: usedKeys{at: make(map[uuid.UUID]time.Time)}, ages: newListingAges(o.Registry, o.MetricsGroups),
		post: o.Post, random: o.Random, unhooked: make(map[uuid.UUID]int64),
	}
}

// Store is all that the service needs of storage. Methods return
// ErrNotFound, ErrConflict, ErrUnavailable or an *InvalidError where a
// constraint was met; anything else is a fault.
type Store interface {
	GroupStore
	KeyStore
	ListingStore
	LedgerStore
	ModelStore
	SuggestionStore
	VerifyStore
	OnceStore
	AgeStore
	StateStore
	WebhookStore
	PruneStore
}

// Tenant is whom a statement runs for: row-level security lets it see the
// group's rows and, of the owner-only tables, the member's.
type Tenant struct {
	Group  uuid.UUID
	Member uuid.UUID
	At     time.Time // when it was asked for: what the audit notes
}

// The scopes of keys. Each includes the one before it; a feed key reads feeds
// only.
const (
	ScopeFeed  = "feed"
	ScopeRead  = "read"
	ScopeWrite = "write"
	ScopeAdmin = "admin"
)

var scopeRank = map[string]int{ScopeFeed: 0, ScopeRead: 1, ScopeWrite: 2, ScopeAdmin: 3}

// Actor is who asks: a member of a group, through a key.
type Actor struct {
	Group    *Group
	MemberID uuid.UUID
	Member   string
	KeyID    uuid.UUID
	Scope    string
	Now      time.Time    // when it was asked
	Today    pricing.Date // the group's local day at that time
}

// Can reports whether the key's scope includes the wanted one.
func (a *Actor) Can(scope string) bool { return scopeRank[a.Scope] >= scopeRank[scope] }

// Tenant returns whom the actor's statements run for.
func (a *Actor) Tenant() Tenant { return Tenant{Group: a.Group.ID, Member: a.MemberID, At: a.Now} }

// Reader returns how the actor's rows are to be read.
func (a *Actor) Reader() *Reader {
	return &Reader{Currency: a.Group.Currency, Unit: a.Group.Unit, DateOrder: a.Group.DateOrder, Today: a.Today}
}

// newID returns a UUIDv7 (RFC 9562): unique without coordination, in order of
// time.
func newID() uuid.UUID { return uuid.Must(uuid.NewV7()) }
