package advice

import (
	"cmp"
	"context"
	"runtime"
	"slices"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"askwright/pricing"
	"askwright/pricing/refinish"
	"askwright/service"
	"askwright/service/model"
	"askwright/service/prose"
)

// Takes reports whether a review is among those asked for.
func (q ReviewQuery) Takes(r Review) bool {
	return (len(q.States) == 0 || slices.Contains(q.States, r.State)) && (q.Member == uuid.Nil || r.Row.MemberID == q.Member)
}

// Review is where an open listing stands, with what could be done.
type Review struct {
	Row *service.Listing
	Ask service.Money // on the day of the review
	pricing.Review
	Sentences []pricing.Sentence
	Held      *service.Hold // for a buyer, also when that day has passed; nil: it is not
	Cautions  []service.Caution
}

// What names the piece: walnut sideboard.
func (r *Review) What() string { return prose.What(r.Row) }

// ListingStates are the states of an open listing, the most urgent first.
var ListingStates = []string{"stale", "slow", "fresh", "paused"}

// ReviewQuery selects reviews.
type ReviewQuery struct {
	States  []string     // empty: all
	Member  uuid.UUID    // zero: everybody's
	Listing uuid.UUID    // zero: all
	AsOf    pricing.Date // zero: today
}

// Reviews reviews the group's open listings, the most urgent first: by state,
// then by what the best remedy gains.
func (s *Service) Reviews(ctx context.Context, a *service.Actor, q ReviewQuery) ([]Review, error) {
	day := cmp.Or(q.AsOf, a.Today)
	if day > a.Today {
		return nil, service.Invalid("as_of", "%s is in the future", day)
	}
	work := func() ([]Review, error) { return s.reviewsOn(ctx, a, q, day) }
	var reviews []Review
	var err error
	if day == a.Today && q.Listing == uuid.Nil {
		reviews, err = s.kept.get(a, q.Member, work)
	} else {
		reviews, err = work()
	}
	if err != nil {
		return nil, err
	}
	if len(q.States) > 0 {
		reviews = slices.DeleteFunc(reviews, func(r Review) bool { return !slices.Contains(q.States, r.State) })
	}
	return reviews, nil
}

// reviewsOn works out the reviews of a day, in every state.
func (s *Service) reviewsOn(ctx context.Context, a *service.Actor, q ReviewQuery, day pricing.Date) ([]Review, error) {
	fitted, rows, err := s.reviewed(ctx, a, day)
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
	var open []*model.Recorded
	for _, r := range rows.All {
		if r.OpenOn(day) && (q.Member == uuid.Nil || r.MemberID == q.Member) && (q.Listing == uuid.Nil || r.ID == q.Listing) {
			open = append(open, r)
		}
	}
	reviews, err := reviewAll(ctx, a, fitted, rows, workshop, open, day)
	if err != nil {
		return nil, err
	}
	for i := range reviews {
		r := &reviews[i]
		if r.Held = service.Unreleased(holds[r.Row.ID]); r.Held != nil {
			r.Sentences = append(r.Sentences, pricing.Sentence{Kind: pricing.SaidHold, Text: r.Held.Sentence(day)})
		}
	}
	slices.SortFunc(reviews, func(x, y Review) int { return x.Place().compare(y.Place()) })
	return reviews, nil
}

// reviewed gives the model of a day and the listings that were on offer on it:
// of an earlier day what the group could have known then, in the state of
// today's record.
func (s *Service) reviewed(ctx context.Context, a *service.Actor, day pricing.Date) (*pricing.Model, *model.Records, error) {
	rows, err := s.fits.OpenRecords(ctx, a, day)
	if err != nil {
		return nil, nil, err
	}
	if day < a.Today {
		return pricing.Fit(model.History(rows.All, a.Group.Currency), day), rows, nil
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, nil, err
	}
	return fit.Model, rows, nil
}

// reviewAll judges open listings, in their order, on all processors. The actor's
// own record of work counts for the actor's own: nobody works on another's.
func reviewAll(ctx context.Context, a *service.Actor, model *pricing.Model, rows *model.Records, workshop *Workshop, open []*model.Recorded, day pricing.Date) ([]Review, error) {
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
				out[i] = reviewOne(a, model, rows, open[i], day, settings)
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

func reviewOne(a *service.Actor, model *pricing.Model, rows *model.Records, r *model.Recorded, day pricing.Date, settings pricing.Settings) Review {
	row := r.Listing
	if row.MemberID != a.MemberID {
		row = row.WithoutOwnerOnly()
	}
	out := Review{Row: row, Ask: row.AskOn(day), Review: model.Review(rows.Standing(r, a.Group.Currency, day), day, settings)}
	out.Sentences = prose.In(a.Group.Currency).Review(&out.Review, out.Ask.Major(a.Group.Currency), day)
	out.Cautions = reviewCautions(row, out.Remedies, settings)
	return out
}

// reviewCautions are those for what the remedies lead to.
func reviewCautions(l *service.Listing, remedies []pricing.Remedy, settings pricing.Settings) []service.Caution {
	o := service.Occasion{Piece: l, Deeds: service.ToPrice}
	for _, r := range remedies {
		if r.Action == pricing.ActionRefinish {
			work := settings.Workshop.Estimate(refinish.Job{Attributes: l.Attributes(), Look: refinish.Look{Finish: r.Finish, Color: r.Color}})
			o.Work = append(o.Work, &work)
		}
	}
	return o.Cautions()
}
