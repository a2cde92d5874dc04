// Package webhook tells endpoints that members named what happens to listings:
// by the Standard Webhooks specification, at least once, in order for each
// endpoint as long as nothing fails.
package webhook

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"github.com/google/uuid"
	"github.com/prometheus/client_golang/prometheus"

	"askwright/service/background"
)

// Service keeps the endpoints. It is safe for concurrent use.
type Service struct {
	store Store
	now   func() time.Time
	isOn  bool
}

// New returns a Service; isOn says whether anything is ever sent.
func New(store Store, now func() time.Time, isOn bool) *Service {
	return &Service{store: store, now: now, isOn: isOn}
}

// Sender sends what is due.
type Sender struct {
	store  SenderStore
	now    func() time.Time
	logger *slog.Logger
	post   Post
	random func() float64 // from 0 to 1, for the jitter of repetitions
	sent   deliveryMetrics

	turn     sync.Mutex // of one pass
	tidiedAt time.Time
	without  map[uuid.UUID]int64 // groups without webhooks, by their change number then
}

// NewSender returns a Sender. Without post nothing is sent. registry takes its
// metrics; nil: nobody does.
func NewSender(store SenderStore, now func() time.Time, logger *slog.Logger, post Post, random func() float64, registry prometheus.Registerer) *Sender {
	return &Sender{
		store: store, now: now, logger: logger, post: post, random: random,
		sent: newDeliveryMetrics(registry), without: make(map[uuid.UUID]int64),
	}
}

// Run sends messages to endpoints until the context ends.
func (s *Sender) Run(ctx context.Context) error {
	if s.post == nil {
		return nil
	}
	task := background.Task{Interval: notifyEvery, Timeout: notifyTime, Failed: "messages to webhooks go out later", Logger: s.logger}
	return task.Every(ctx, s.RunOnce)
}
