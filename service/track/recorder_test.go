package track

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"testing"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/profit"
)

// faultyStore keeps suggestions in memory, and fails as told.
type faultyStore struct {
	profit.Store
	fail func(group uuid.UUID) error
	kept map[uuid.UUID]int
}

func (s *faultyStore) KeepSuggestions(_ context.Context, group uuid.UUID, kept []Shown) error {
	if err := s.fail(group); err != nil {
		return err
	}
	s.kept[group] += len(kept)
	return nil
}

func (s *faultyStore) KeepAsked(_ context.Context, group uuid.UUID, asked []Asked) error {
	if err := s.fail(group); err != nil {
		return err
	}
	s.kept[group] += len(asked)
	return nil
}

func (s *faultyStore) Asked(context.Context, service.Tenant) ([]Asked, []Finished, error) {
	return nil, nil, nil
}

func (s *faultyStore) LastKept(context.Context, service.Tenant) ([]Shown, error) { return nil, nil }

// While the database is away suggestions wait; what it refuses in one group
// holds up no other.
func TestRecorderOutlastsFaults(t *testing.T) {
	t.Parallel()
	sound, broken, listing := service.NewID(), service.NewID(), service.NewID()
	store := &faultyStore{kept: map[uuid.UUID]int{}}
	r := NewRecorder(store, slog.New(slog.DiscardHandler))
	fill := func() {
		for i := range 1200 {
			for _, group := range []uuid.UUID{sound, broken} {
				r.Add(group, Shown{ID: service.NewID(), ListingID: listing, Ref: fmt.Sprint(i), Model: "1"})
				r.Add(group, Shown{ID: service.NewID(), ListingID: listing, Ref: fmt.Sprint(i), Model: "1"}) // twice is once
			}
		}
	}
	fill()
	store.fail = func(uuid.UUID) error { return fmt.Errorf("%w: starting up", service.ErrUnavailable) }
	if err := r.Flush(t.Context()); !errors.Is(err, service.ErrUnavailable) || len(r.waiting) != 2400 {
		t.Fatalf("away: %v, %d wait, want all 2400", err, len(r.waiting))
	}
	store.fail = func(group uuid.UUID) error {
		if group == broken {
			return errors.New("the group is gone")
		}
		return nil
	}
	if err := r.Flush(t.Context()); err != nil || len(r.waiting) != 0 || store.kept[sound] != 1200 || store.kept[broken] != 0 {
		t.Errorf("back: %v, %d wait, kept %v", err, len(r.waiting), store.kept)
	}
}

func TestRunRecorderKeepsWithinASecond(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithCancel(t.Context())
	defer cancel()
	done := make(chan struct{})
	store := &faultyStore{kept: map[uuid.UUID]int{}, fail: func(uuid.UUID) error { close(done); return nil }}
	r := NewRecorder(store, slog.New(slog.DiscardHandler))
	r.Add(service.NewID(), Shown{ID: service.NewID(), Ref: "B-1"})
	ended := make(chan error)
	go func() { ended <- r.Run(ctx) }()
	select {
	case <-done:
	case <-time.After(5 * time.Second): // a second on an idle machine
		t.Error("nothing was kept")
	}
	cancel()
	if err := <-ended; err != nil {
		t.Error(err)
	}
}

// A key that only reads filled the table with refs that it made up.
func TestSoManyDescribedRefsOfAMemberAreKeptInADay(t *testing.T) {
	t.Parallel()
	r := NewRecorder(nil, slog.New(slog.DiscardHandler))
	group, one, another := service.NewID(), service.NewID(), service.NewID()
	add := func(member uuid.UUID, day, ref int) {
		r.Add(group, Shown{MemberID: member, On: pricing.Date(day), Ref: fmt.Sprint(ref), Model: "1"})
	}
	for ref := range 3 * MostDescribed {
		add(one, 1, ref)
	}
	add(one, 1, 5) // again
	if len(r.waiting) != MostDescribed {
		t.Errorf("%d wait, want %d", len(r.waiting), MostDescribed)
	}
	add(another, 1, 1)
	add(one, 2, 3*MostDescribed)
	if len(r.waiting) != MostDescribed+2 {
		t.Errorf("%d wait with another member's and one of the next day, want %d", len(r.waiting), MostDescribed+2)
	}
}
