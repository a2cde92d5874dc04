package advice

import (
	"context"
	"fmt"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/prose"
)

const (
	digestStale   = 5  // reviews that a digest shows
	digestSold    = 10 // sales
	digestSoldIn  = 7  // days back, today among them
	digestPaused  = 10 // paused listings
	longPauseDays = 14 // common practice, no source: a hold or a trip is over by then
)

// Digest is what to know in the morning, from what the other answers give.
type Digest struct {
	Group  string
	Today  pricing.Date
	Open   map[string]int     // listings on offer by state
	Pulse  float64            // messages of all lately against usual; zero: too few to tell
	Quiet  bool               // the whole group is slow
	Stale  []Review           // the most urgent ones
	Sold   []SoldListing      // the last days' sales, newest first
	Paused []LongPause        // out of sight for long, longest first
	Record []pricing.Sentence // how the advice did

	MoreStale, MoreSold, MorePaused int // that are not shown
}

// SoldListing is a listing with the active days until it sold.
type SoldListing struct {
	Row        *service.Listing
	ActiveDays int
}

// LongPause is an open listing that nobody could collect for long.
type LongPause struct {
	Row   *service.Listing
	Since pricing.Date
	Until pricing.Date // zero: not told
	Days  int          // so far
}

// What names the piece: walnut sideboard.
func (l LongPause) What() string { return prose.What(l.Row) }

// What names the piece: walnut sideboard.
func (s SoldListing) What() string { return prose.What(s.Row) }

// Digest tells what to know this morning, of the listings of one member or,
// with a zero member, of all.
func (s *Service) Digest(ctx context.Context, a *service.Actor, member uuid.UUID) (*Digest, error) {
	d := &Digest{Group: a.Group.Name, Today: a.Today, Open: make(map[string]int)}
	reviews, err := s.Reviews(ctx, a, ReviewQuery{Member: member})
	if err != nil {
		return nil, err
	}
	for _, r := range reviews {
		d.Open[r.State]++
		d.Pulse, d.Quiet = r.GroupPulse, r.Quiet
		switch r.State {
		case pricing.StateStale:
			d.Stale = append(d.Stale, r)
		case pricing.StatePaused:
			if p, ok := longPause(r.Row, a.Today); ok {
				d.Paused = append(d.Paused, p)
			}
		}
	}
	slices.SortStableFunc(d.Paused, func(x, y LongPause) int { return y.Days - x.Days })
	if err := s.addSold(ctx, a, d, member); err != nil {
		return nil, err
	}
	record, err := s.track.Record(ctx, a)
	if err != nil {
		return nil, err
	}
	d.Record = record.Kept.Sentences
	d.Stale, d.MoreStale = leading(d.Stale, digestStale)
	d.Paused, d.MorePaused = leading(d.Paused, digestPaused)
	return d, nil
}

func (s *Service) addSold(ctx context.Context, a *service.Actor, d *Digest, member uuid.UUID) error {
	rows, _, err := s.store.Listings(ctx, a.Tenant(), service.Query{
		Words: map[string][]string{"outcome": {service.OutcomeSold}, "source": {service.SourceOwn}}, Member: member,
		From: map[string]pricing.Date{"ended_on": a.Today - digestSoldIn + 1}, To: map[string]pricing.Date{"ended_on": a.Today},
		Sort: []service.SortKey{{Column: "ended_on", Descending: true}}, Limit: 1000,
	})
	if err != nil {
		return fmt.Errorf("look for sales: %w", err)
	}
	rows, d.MoreSold = leading(rows, digestSold)
	for _, l := range rows {
		facts := l.Facts(a.Group.Currency, nil, nil)
		d.Sold = append(d.Sold, SoldListing{Row: l, ActiveDays: facts.ActiveDays(l.EndedOn)})
	}
	return nil
}

// longPause is the present pause of a listing, if it is a long one.
func longPause(l *service.Listing, today pricing.Date) (LongPause, bool) {
	for _, p := range l.Pauses {
		if p.From <= today && (p.To.IsZero() || p.To > today) {
			days := int(today - p.From)
			return LongPause{Row: l, Since: p.From, Until: p.To, Days: days}, days >= longPauseDays
		}
	}
	return LongPause{}, false
}

// leading returns at most n of them, and how many are left out.
func leading[T any](all []T, n int) (first []T, more int) {
	if len(all) <= n {
		return all, 0
	}
	return all[:n], len(all) - n
}
