// Package web is the toolkit of the API: it reads requests and writes answers,
// problems, tables and workbooks, knows who asks and how much they may ask for.
// It knows no furniture.
package web

import (
	"context"
	"log/slog"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"askwright/service"
)

// Kit is what handlers share.
type Kit struct {
	members  Members
	repeats  Repeats
	logger   *slog.Logger
	limits   Limits
	now      func() time.Time
	build    string
	metrics  *metrics
	requests *limiters // by member
	failures *limiters // of authentication, by address
	answers  *Shares   // that are long, from the request to the last byte
	work     *Shares   // at these, to the first byte
}

// KitOptions are what a Kit is made of.
type KitOptions struct {
	Members  Members
	Repeats  Repeats
	Logger   *slog.Logger
	Registry prometheus.Registerer // takes the metrics of HTTP
	Limits   Limits
	Now      func() time.Time // for the rate limits
	Build    string           // goes into the entity tags of lists
}

// Members knows who holds a key, and who is in a group.
type Members interface {
	Authenticate(ctx context.Context, text string) (*service.Actor, error)
	Members(ctx context.Context, a *service.Actor) ([]service.Member, error)
}

// Repeats does what a request asks for, unless it has been done.
type Repeats interface {
	Once(ctx context.Context, a *service.Actor, r service.OnceRequest, do func(context.Context) (*service.OnceAnswer, error)) (*service.OnceAnswer, error)
}

// NewKit returns a Kit.
func NewKit(o KitOptions) *Kit {
	return &Kit{
		members:  o.Members,
		repeats:  o.Repeats,
		logger:   o.Logger,
		limits:   o.Limits,
		now:      o.Now,
		build:    o.Build,
		metrics:  newMetrics(o.Registry),
		requests: newLimiters(o.Limits.RequestsPerMinute, o.Now),
		failures: newLimiters(o.Limits.FailuresPerMinute, o.Now),
		answers:  NewShares(answersOfGroup, answersInAll, turnPatience),
		work:     NewShares(answersOfGroup, workInAll, turnPatience),
	}
}

// Owe books what a request turned out to weigh, afterwards: the next requests of
// the member wait for it.
func (s *Kit) Owe(a *service.Actor, units int) {
	if units > 0 {
		s.requests.Owe(bucketOf(a), units)
	}
}
