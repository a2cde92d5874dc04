// Package watch looks after all groups beside the requests: it reviews the
// listings of those that changed, notes which came into another state, counts
// ages for the metrics, refits the models of large groups and drops what is no
// longer needed.
package watch

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
	"askwright/service/background"
	"askwright/service/model"
)

// Reviewer reviews the listings of all groups. A feed may be read meanwhile.
type Reviewer struct {
	groups
	store  ReviewStore
	logger *slog.Logger
	advice *advice.Service
	fits   *model.Cache
	ages   *ages
	turn   sync.Mutex // of one pass
}

// NewReviewer returns a Reviewer. registry takes the metrics of listing age, by
// the groups' ids if they are to be told; nil: nobody does.
func NewReviewer(store ReviewStore, now func() time.Time, logger *slog.Logger, adviser *advice.Service, fits *model.Cache, registry prometheus.Registerer, byGroup bool) *Reviewer {
	return &Reviewer{
		groups: groups{store, now}, store: store, logger: logger, advice: adviser, fits: fits, ages: newAges(registry, byGroup),
	}
}

// ReviewStore is what a Reviewer needs of storage.
type ReviewStore interface {
	groupStore
	AgeStore
	StateStore
}

// Upkeep refits and drops.
type Upkeep struct {
	groups
	store  PruneStore
	logger *slog.Logger
	fits   *model.Cache

	turn     sync.Mutex // of one pass
	prunedAt time.Time
}

// NewUpkeep returns an Upkeep.
func NewUpkeep(store PruneStore, now func() time.Time, logger *slog.Logger, fits *model.Cache) *Upkeep {
	return &Upkeep{groups: groups{store, now}, store: store, logger: logger, fits: fits}
}

// groups acts for groups.
type groups struct {
	group groupStore
	now   func() time.Time
}

type groupStore interface {
	Group(ctx context.Context, t service.Tenant) (*service.Group, error)
}

// actor acts for a group as nobody in it, for work beside the requests.
func (g groups) actor(ctx context.Context, id uuid.UUID) (*service.Actor, error) {
	group, err := g.group.Group(ctx, service.Tenant{Group: id})
	if err != nil {
		return nil, fmt.Errorf("read the group: %w", err)
	}
	now := g.now()
	return &service.Actor{Group: group, Scope: service.ScopeRead, Now: now, Today: pricing.DateOf(now.In(group.Location()))}, nil
}

// Run reviews the listings of each group after it changed and on each new day,
// until the context ends: for the metrics of listing age, and to note which
// listings changed their state.
func (s *Reviewer) Run(ctx context.Context) error {
	task := background.Task{Interval: reviewEvery, Timeout: reviewTime, Failed: "listings were not reviewed", Logger: s.logger}
	return task.Every(ctx, s.RunOnce)
}

// Run does the work beside the answers until the context ends.
func (s *Upkeep) Run(ctx context.Context) error {
	task := background.Task{Interval: upkeepEvery, Timeout: upkeepTime, Failed: "upkeep goes on later", Logger: s.logger}
	return task.Every(ctx, s.RunOnce)
}
