// Package track holds the advice to account: it keeps what was suggested as it
// was shown, scores it when a listing ends, and replays what would have been
// suggested month by month.
package track

import (
	"context"
	"log/slog"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/background"
	"askwright/service/model"
	"askwright/service/profit"
)

// Service judges past advice. It is safe for concurrent use.
type Service struct {
	store    Store
	fits     *model.Cache
	recorder *Recorder
	logger   *slog.Logger
	lines    recordLines
}

// New returns a Service.
func New(store Store, fits *model.Cache, recorder *Recorder, logger *slog.Logger) *Service {
	return &Service{store: store, fits: fits, recorder: recorder, logger: logger, lines: recordLines{stopping: make(chan struct{})}}
}

// Run waits for the context to end, and then for what is being worked out
// beside the requests. It runs once.
func (s *Service) Run(ctx context.Context) error {
	<-ctx.Done()
	s.lines.stop()
	return nil
}

// Store keeps what was suggested, and has the ledger that it is held against.
type Store interface {
	profit.Store
	// KeepSuggestions adds suggestions of one group. Of each (member, ref, day,
	// model) the first one stays.
	KeepSuggestions(ctx context.Context, group uuid.UUID, shown []Shown) error
	// LastKept returns, for each own listing that has one, the last suggestion
	// shown before its last ask was set, under the listing's id.
	LastKept(ctx context.Context, t service.Tenant) ([]Shown, error)
	// KeepAsked keeps what finds of one group were asked for, each as it was last
	// asked about, and forgets all but the newest AskedAtMost.
	KeepAsked(ctx context.Context, group uuid.UUID, asked []Asked) error
	// Asked returns what the group's finds were asked for, and those among them
	// that were bought and left again.
	Asked(ctx context.Context, t service.Tenant) ([]Asked, []Finished, error)
}

// Run writes the suggestions that were made, within a second, until the context
// ends. Flush writes what came after.
func (r *Recorder) Run(ctx context.Context) error {
	task := background.Task{Interval: recordEvery, Timeout: recordTime, Failed: "suggestions wait to be kept", Logger: r.logger}
	return task.Every(ctx, r.Flush)
}
