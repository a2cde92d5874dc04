package track

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// recordLines keeps, for each group, the line about past advice. Replaying a
// history takes a second, so who asks first goes without it.
type recordLines struct {
	mu       sync.Mutex
	lines    map[uuid.UUID]*recordLine
	work     sync.WaitGroup
	stopping chan struct{} // closed once no more is begun
}

type recordLine struct {
	of   string // change number and day
	done chan struct{}
	text string
}

const (
	recordPatience = 60 * time.Millisecond
	recordTimeout  = time.Minute
	recordGroups   = 64
)

// Line is how past advice did, or "" while that is being worked out.
func (s *Service) Line(ctx context.Context, a *service.Actor) string {
	line := s.lines.of(a, func(line *recordLine) { s.workOut(context.WithoutCancel(ctx), a, line) })
	select {
	case <-line.done:
		return line.text
	case <-time.After(recordPatience):
	case <-ctx.Done():
	}
	return ""
}

// of finds the group's present line, or begins to work it out.
func (r *recordLines) of(a *service.Actor, work func(*recordLine)) *recordLine {
	of := fmt.Sprintf("%d %s", a.Group.ChangeNo, a.Today)
	r.mu.Lock()
	defer r.mu.Unlock()
	line := r.lines[a.Group.ID]
	if line != nil && line.of == of {
		return line
	}
	line = &recordLine{of: of, done: make(chan struct{})}
	select {
	case <-r.stopping:
		close(line.done)
		return line
	default:
	}
	if r.lines == nil || len(r.lines) >= recordGroups {
		r.lines = make(map[uuid.UUID]*recordLine)
	}
	r.lines[a.Group.ID] = line
	r.work.Go(func() {
		defer close(line.done)
		work(line)
	})
	return line
}

// stop ends what is being worked out and waits for it; nothing is begun after.
func (r *recordLines) stop() {
	r.mu.Lock()
	close(r.stopping)
	r.mu.Unlock()
	r.work.Wait()
}

func (s *Service) workOut(ctx context.Context, a *service.Actor, line *recordLine) {
	ctx, cancel := context.WithTimeout(ctx, recordTimeout)
	defer cancel()
	go func() {
		select {
		case <-s.lines.stopping:
			cancel()
		case <-ctx.Done():
		}
	}()
	r, err := s.Record(ctx, a)
	switch {
	case err != nil:
		s.logger.WarnContext(ctx, "the board goes without the record of past advice", "error", err)
	case r.Kept.MedianError == nil && r.Replay.MedianError != nil:
		line.text = "Asked month by month what it would have said: " + service.LowerFirst(pricing.Said(r.Replay.Sentences, pricing.SaidScore))
	default:
		line.text = pricing.Said(r.Kept.Sentences, pricing.SaidScore)
	}
}
