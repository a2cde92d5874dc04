package track

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/pricing/buying"
	"askwright/service"
)

// Asked is what a find was asked for, beside what was stated of it. What a group
// is asked tells how far to trust a bargain, whether it is bought or not.
type Asked struct {
	MemberID uuid.UUID
	Find     string // its ref; of a find without one its kind, day and price
	On       pricing.Date
	At       time.Time
	Price    service.Money
	Net      service.Money // at the likely value after all costs: what the price is held against
	SaleCash service.Money // the same before those costs
	Variance float64       // of the log of that value
}

// Finished is a find that was bought, and left again.
type Finished struct {
	SaleCash  service.Money // stated
	SalePrice service.Money // zero: it left without a sale
	EndedOn   pricing.Date
	Venue     string
}

// AskedAtMost is how many finds of a group are remembered, the newest.
const AskedAtMost = 1000

// Experience is what a group has seen of prices asked and of purchases.
func (s *Service) Experience(ctx context.Context, a *service.Actor) (buying.Experience, error) {
	var e buying.Experience
	asked, finished, err := s.store.Asked(ctx, a.Tenant())
	if err != nil {
		return e, fmt.Errorf("read the prices asked: %w", err)
	}
	c := a.Group.Currency
	for _, k := range asked {
		x := buying.LogRatio(k.Price.Major(c), k.Net.Major(c))
		e.Prices, e.Logs, e.Squares, e.Variance = e.Prices+1, e.Logs+x, e.Squares+x*x, e.Variance+k.Variance
	}
	for _, f := range finished {
		fee := f.SalePrice.Share(a.Group.FeeRateAt(f.Venue, f.EndedOn))
		e.Finished++
		e.Stated += f.SaleCash.Major(c)
		e.Realized += (f.SalePrice - fee).Major(c)
	}
	return e, nil
}

// AddAsked lets what a find was asked for wait to be written; of one find the
// newest stays.
func (r *Recorder) AddAsked(group uuid.UUID, k Asked) {
	key := askedKey{group, k.MemberID, k.Find}
	r.mu.Lock()
	defer r.mu.Unlock()
	if _, twice := r.asked[key]; twice || len(r.asked) < recordMost {
		r.asked[key] = k
	}
}

// askedKey is what is kept once.
type askedKey struct {
	group, member uuid.UUID
	find          string
}

// flushAsked writes what finds were asked for, as Flush does suggestions.
func (r *Recorder) flushAsked(ctx context.Context) error {
	r.mu.Lock()
	taken := r.asked
	if len(taken) > 0 {
		r.asked = make(map[askedKey]Asked)
	}
	r.mu.Unlock()
	byGroup := make(map[uuid.UUID][]Asked)
	for key, k := range taken {
		byGroup[key.group] = append(byGroup[key.group], k)
	}
	var failed error
	for group, all := range byGroup {
		slices.SortFunc(all, func(a, b Asked) int { return cmp.Or(a.At.Compare(b.At), cmp.Compare(a.Find, b.Find)) })
		for batch := range slices.Chunk(all, recordBatch) {
			err := r.store.KeepAsked(ctx, group, batch)
			switch {
			case err == nil:
			case errors.Is(err, service.ErrUnavailable) || ctx.Err() != nil:
				r.askAgain(group, batch)
				failed = errors.Join(failed, err)
			default:
				r.logger.ErrorContext(ctx, "prices asked were not kept", "group", group, "number", len(batch), "error", err)
			}
		}
	}
	return failed
}

// askAgain lets what could not be written wait again, unless something newer does.
func (r *Recorder) askAgain(group uuid.UUID, batch []Asked) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, k := range batch {
		key := askedKey{group, k.MemberID, k.Find}
		if _, newer := r.asked[key]; !newer && len(r.asked) < recordMost {
			r.asked[key] = k
		}
	}
}
