package service

import (
	"cmp"
	"context"
	"runtime"
	"slices"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"askwright/pricing"
)

// Review is where an open listing stands, with what could be done.
type Review struct {
	Row *Listing
	Ask Money // on the day of the review
	pricing.Review
	Held         *Hold          // for a buyer, also when that day has passed; nil: it is not
	FairValue    *pricing.Range // likely sale price by the description alone, on that day; nil: too few sales
	ExpectedDays *int           // active days after which half of those like it are sold where asked as suggested; nil: not within the horizon
	Cautions     []Caution
}

// What names the piece: walnut sideboard.
func (r *Review) What() string { return r.Row.what() }

// ListingStates are the states of an open listing, the most urgent first.
var ListingStates = []string{"stale", "slow", "fresh", "paused"}

// StaleQuery selects reviews.
type StaleQuery struct {
	States  []string     // empty: all
	Member  uuid.UUID    // zero: everybody's
	Listing uuid.UUID    // zero: all
	AsOf    pricing.Date // zero: today
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
	var open []*Recorded
	for _, r := range rows.all {
		if r.openOn(day) && (q.Member == uuid.Nil || r.MemberID == q.Member) && (q.Listing == uuid.Nil || r.ID == q.Listing) {
			open = append(open, r)
		}
	}
	reviews, err := a.reviews(ctx, model, rows, workshop, open, day)
	if err != nil {
		return nil, err
	}
	for i := range reviews {
		r := &reviews[i]
		if r.Held = unreleased(holds[r.Row.ID]); r.Held != nil {
			r.Sentences = append(r.Sentences, r.Held.sentence(day))
		}
	}
	if len(q.States) > 0 {
		reviews = slices.DeleteFunc(reviews, func(r Review) bool { return !slices.Contains(q.States, r.State) })
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

// reviews judges open listings, in their order, on all processors. The actor's
// own record of work counts for the actor's own: nobody works on another's.
func (a *Actor) reviews(ctx context.Context, model *pricing.Model, rows *records, workshop *Workshop, open []*Recorded, day pricing.Date) ([]Review, error) {
	out := make([]Review, len(open))
	work, ctx := errgroup.WithContext(ctx)
	work.SetLimit(runtime.GOMAXPROCS(0))
	for part := range slices.Chunk(indices(len(open)), reviewsAtOnce) {
		work.Go(func() error {
			for _, i := range part {
				settings := a.Group.SettingsFor(open[i].Venue, day)
				if open[i].MemberID == a.MemberID {
					settings = workshop.settings(settings)
				}
				out[i] = a.review(model, rows, open[i], day, settings)
			}
			return ctx.Err()
		})
	}
	return out, work.Wait()
}

const reviewsAtOnce = 16 // before looking whether anybody still waits

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}

func (a *Actor) review(model *pricing.Model, rows *records, r *Recorded, day pricing.Date, settings pricing.Settings) Review {
	row := r.Listing
	if row.MemberID != a.MemberID {
		row = row.WithoutOwnerOnly()
	}
	out := Review{Row: row, Ask: row.askOn(day), Review: model.Review(rows.standing(r, a.Group.Currency, day), day, settings)}
	out.Cautions = reviewCautions(row, out.Remedies, settings)
	estimate, _ := r.facts(a.Group.Currency).OwnEstimate()
	outline := model.Outline(pricing.Query{Attributes: row.Attributes(), Estimate: estimate}, day, settings)
	out.FairValue = outline.SalePrice
	if outline.Prospects != nil {
		out.ExpectedDays = outline.Prospects.HalfSoldBy(outline.Ask)
	}
	return out
}

// reviewCautions are those for what the remedies lead to.
func reviewCautions(l *Listing, remedies []pricing.Remedy, settings pricing.Settings) []Caution {
	o := occasion{piece: l, deeds: toPrice}
	for _, r := range remedies {
		if r.Action == pricing.ActionRefinish {
			work := settings.Workshop.Estimate(pricing.Job{Attributes: l.Attributes(), Look: pricing.Look{Finish: r.Finish, Color: r.Color}})
			o.work = append(o.work, &work)
		}
	}
	return o.cautions()
}

// openOn reports whether an own listing was on offer at the end of that day.
func (r *Recorded) openOn(day pricing.Date) bool {
	return r.IsOffered() && !r.IsObserved() && r.ListedOn <= day && (r.EndedOn.IsZero() || r.EndedOn > day)
}
