package watch

import (
	"context"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/advice"
)

// StateStore keeps in which state listings were noted.
type StateStore interface {
	// NoteStates notes the states of all open listings of the group, of which
	// ListingID, State, Action and Step are read. What is not among them has ended. In
	// the same transaction it queues what tell makes of those that were new or
	// changed.
	NoteStates(ctx context.Context, group uuid.UUID, at time.Time, open []service.ListingState, tell func(changed []service.ListingState) []service.Notice) error
	// States returns what is noted of all listings.
	States(ctx context.Context, t service.Tenant) ([]service.ListingState, error)
}

// note keeps the states of all of a group's open listings, which reviews are.
func (s *Reviewer) note(ctx context.Context, a *service.Actor, reviews []advice.Review) error {
	open := make([]service.ListingState, len(reviews))
	for i, r := range reviews {
		open[i] = service.ListingState{ListingID: r.Row.ID, State: r.State, Action: r.Action, Step: service.StepOf(r.Kept, a.Group.Currency)}
	}
	tell := func(changed []service.ListingState) []service.Notice { return stateNotices(a, reviews, changed) }
	if err := s.store.NoteStates(ctx, a.Group.ID, a.Now.Truncate(time.Second), open, tell); err != nil {
		return fmt.Errorf("note the states of listings: %w", err)
	}
	return nil
}

// FeedEntry is an open listing with the time at which its state or what to do
// about it changed last.
type FeedEntry struct {
	advice.Review
	UpdatedAt time.Time
}

// Feed is the reviews of q as a feed, what changed last first, and when
// anything in the group's feeds changed. It is the same for all who read it:
// the reviews are the group's, without what a member alone knows.
func (s *Reviewer) Feed(ctx context.Context, a *service.Actor, q advice.ReviewQuery) ([]FeedEntry, time.Time, error) {
	group := &service.Actor{Group: a.Group, Now: a.Now, Today: a.Today}
	reviews, err := s.advice.Reviews(ctx, group, advice.ReviewQuery{})
	if err != nil {
		return nil, time.Time{}, err
	}
	// A change that nobody has noted yet is one of now.
	if err := s.note(ctx, group, reviews); err != nil {
		return nil, time.Time{}, err
	}
	states, err := s.store.States(ctx, a.Tenant())
	if err != nil {
		return nil, time.Time{}, fmt.Errorf("read the states of listings: %w", err)
	}
	last, at := a.Group.CreatedAt, make(map[uuid.UUID]time.Time, len(states))
	for _, state := range states {
		at[state.ListingID] = state.UpdatedAt
		if state.UpdatedAt.After(last) {
			last = state.UpdatedAt
		}
	}
	var entries []FeedEntry
	for _, r := range reviews {
		if q.Takes(r) {
			entries = append(entries, FeedEntry{Review: r, UpdatedAt: at[r.Row.ID]})
		}
	}
	slices.SortStableFunc(entries, func(x, y FeedEntry) int { return y.UpdatedAt.Compare(x.UpdatedAt) })
	return entries, last, nil
}
