// Package background does work again and again beside the requests.
package background

import (
	"context"
	"log/slog"
	"time"
)

// Task is work that is done again and again.
type Task struct {
	Interval time.Duration // between the ends of two passes at most, at least
	Timeout  time.Duration // of one pass
	Failed   string        // what the log says when one fails
	Logger   *slog.Logger
}

// Every does one pass after another until the context ends. A pass that fails is
// logged, and the next one tries again.
func (t Task) Every(ctx context.Context, pass func(context.Context) error) error {
	tick := time.NewTicker(t.Interval)
	defer tick.Stop()
	for {
		limited, cancel := context.WithTimeout(ctx, t.Timeout)
		if err := pass(limited); err != nil && ctx.Err() == nil {
			t.Logger.WarnContext(ctx, t.Failed, "error", err)
		}
		cancel()
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}
