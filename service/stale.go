package service

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
)

// Review is where an open listing stands, with what could be done.
type Review struct {
	Row *Listing
	Ask Money // on the day of the review
	pricing.Review
	Held     *Hold // for a buyer, also when that day has passed; nil: it is not
	Cautions []Caution
}

// What names the piece: walnut sideboard.
func (r *Review) What() string { return r.Row.what() }

// ListingStates are the states of an open listing, the most urgent first.
var ListingStates = []string{"stale", "slow", "fresh", "paused"}

// StaleQuery selects reviews.
type StaleQuery struct {
	States []string     // empty: all
	Member uuid.UUID    // zero: everybody's
	AsOf   pricing.Date // zero: today
}

// Stale reviews the group's open listings, the most urgent first: by state,
// then by what the best remedy gains.
func (s *Service) Stale(ctx context.Context, a *Actor, q StaleQuery) ([]Review, error) {
	day := cmp.Or(q.AsOf, a.Today)
	if day > a.Today {
		return nil, Invalid("as_of", "%s is in the future", day)
	}
	model, rows, err := s.reviewed(ctx, a, day)
	if err != nil {
		return nil, err
	}
	holds, _, err := s.holds(ctx, a, day)
	if err != nil {
		return nil, err
	}
	workshop, err := s.Workshop(ctx, a)
	if err != nil {
		return nil, err
	}
	var reviews []Review
	for _, r := range rows.all {
		if !r.openOn(day) || (q.Member != uuid.Nil && r.MemberID != q.Member) {
			continue
		}
		row := r.Listing
		if row.MemberID != a.MemberID {
			row = row.WithoutOwnerOnly()
		}
		review := model.Review(rows.standing(r, a.Group.Currency, day), day, workshop.settings(a.Group.SettingsFor(row.Venue, day)))
		if len(q.States) > 0 && !slices.Contains(q.States, review.State) {
			continue
		}
		held := unreleased(holds[row.ID])
		if held != nil {
			review.Sentences = append(review.Sentences, held.sentence(day))
		}
		reviews = append(reviews, Review{Row: row, Ask: row.askOn(day), Review: review, Held: held, Cautions: remedyCautions(row, review.Remedies)})
	}
	slices.SortFunc(reviews, func(x, y Review) int {
		return cmp.Or(
			cmp.Compare(slices.Index(ListingStates, x.State), slices.Index(ListingStates, y.State)),
			cmp.Compare(y.Gain, x.Gain),
			cmp.Compare(y.ActiveDays, x.ActiveDays),
			cmp.Compare(x.Row.ID.String(), y.Row.ID.String()),
		)
	})
	return reviews, nil
}

// reviewed gives the model of a day and the listings that were on offer on it:
// of an earlier day what the group could have known then, in the state of
// today's record.
func (s *Service) reviewed(ctx context.Context, a *Actor, day pricing.Date) (*pricing.Model, *records, error) {
	rows, err := s.openRecords(ctx, a, day)
	if err != nil {
		return nil, nil, err
	}
	if day < a.Today {
		return pricing.Fit(history(rows.all, a.Group.Currency), day), rows, nil
	}
	group, err := s.keeper.current(ctx, a)
	if err != nil {
		return nil, nil, err
	}
	return group.model, rows, nil
}

// openRecords reads the listings that were on offer at the end of a day, among
// others; of an earlier day all listings.
func (s *Service) openRecords(ctx context.Context, a *Actor, day pricing.Date) (*records, error) {
	if day < a.Today {
		return s.allRecords(ctx, a)
	}
	return s.records(ctx, a, Which{Open: true})
}

// openOn reports whether an own listing was on offer at the end of that day.
func (r *Recorded) openOn(day pricing.Date) bool {
	return r.IsOffered() && !r.IsObserved() && r.ListedOn <= day && (r.EndedOn.IsZero() || r.EndedOn > day)
}
