package track

import (
	"context"
	"fmt"

	"askwright/pricing"
	"askwright/pricing/stats"
	"askwright/service"
	"askwright/service/model"
)

// Record says how far the suggestions can be trusted.
type Record struct {
	Model     string
	Kept      Scores // of what was suggested, as it was shown
	Replay    Replay // of what would have been suggested
	Purchases Purchases
}

// Replay is a backtest: in each month the model is fitted on what was known
// before it, and asked about what came. Descriptions and estimates are taken
// as they stand today; only what has a date can be hidden.
type Replay struct {
	Scores
	Months []ReplayMonth // oldest first; those before there were sales enough are left out

	models map[string]*pricing.Model // of the day before each month in which anything was listed or sold
}

// ReplayMonth is one month of a replay.
type ReplayMonth struct {
	Month       string // 2026-02
	FittedOn    pricing.Date
	Sold        int
	MedianError *float64
	Inside      stats.Share
}

// Record judges the kept suggestions, and replays the group's history.
func (s *Service) Record(ctx context.Context, a *service.Actor) (*Record, error) {
	if err := s.recorder.Flush(ctx); err != nil {
		return nil, err
	}
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	kept, err := s.store.LastKept(ctx, a.Tenant())
	if err != nil {
		return nil, fmt.Errorf("read the kept suggestions: %w", err)
	}
	replay, err := s.replay(ctx, a, fit)
	if err != nil {
		return nil, err
	}
	var which model.Selection
	for _, k := range kept {
		which.IDs = append(which.IDs, k.ListingID)
	}
	rows, err := s.fits.Records(ctx, a, which)
	if err != nil {
		return nil, err
	}
	var all []promised
	for _, k := range kept {
		if r := rows.ByID[k.ListingID]; r != nil {
			all = append(all, k.promised(r, a.Group.Currency, fit, a.Group.SettingsFor(r.Venue, r.ListedOn)))
		}
	}
	purchases, err := s.purchases(ctx, a, replay)
	if err != nil {
		return nil, err
	}
	return &Record{Model: fit.Version(), Kept: score(all, a.Today), Replay: *replay, Purchases: *purchases}, nil
}

// promised sets a kept suggestion against its listing: the chance at the last
// ask, from the day it was set.
func (k *Shown) promised(r *model.Recorded, c service.Currency, fit *model.Fit, s pricing.Settings) promised {
	p := promised{listing: r.Evidence(c)}
	p.now = judgedBy(fit.Model, p.listing, p.listing.ListedOn, s).Prospects
	last := r.Asks[len(r.Asks)-1]
	p.used, p.usedOn = last.Amount.Major(c), last.On
	if x := k.SalePrice; x != nil {
		p.price = &stats.Range{Likely: x.Likely.Major(c), Low: x.Low.Major(c), High: x.High.Major(c), Level: x.Level}
		p.likely = p.price.Likely
	}
	if x := k.Promise; x != nil {
		p.ask, p.within = x.Ask.Major(c), x.WithinDays
		p.chance = x.Prospects.ChanceSold(p.used, float64(p.listing.ActiveDays(p.usedOn)), float64(p.within))
	}
	return p
}

const (
	replayMonths = 24
	replayWithin = 30 // days of the chances that are replayed
)

// replay is made once for each change number and day; it alone reads the whole
// history.
func (s *Service) replay(ctx context.Context, a *service.Actor, fit *model.Fit) (*Replay, error) {
	return model.Memo(fit, func() (*Replay, error) {
		rows, err := s.fits.AllRecords(ctx, a)
		if err != nil {
			return nil, err
		}
		return replayHistory(ctx, fit, pricing.Cut(model.History(rows.All, a.Group.Currency), fit.Day), a.Group.Settings())
	})
}

func replayHistory(ctx context.Context, fit *model.Fit, h pricing.History, s pricing.Settings) (*Replay, error) {
	var all replayedPromises
	out := &Replay{models: make(map[string]*pricing.Model)}
	today := fit.Day.Time()
	this := pricing.NewDate(today.Year(), today.Month(), 1)
	for back := replayMonths - 1; back >= 0; back-- {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		start := this.Time().AddDate(0, -back, 0)
		month, then := replayMonth(fit, h, pricing.DateOf(start), min(pricing.DateOf(start.AddDate(0, 1, 0)), fit.Day+1), s)
		if then != nil {
			out.models[start.Format(monthLayout)] = then
		}
		all.add(month)
		judged := score(month, fit.Day)
		if judged.Sold == 0 {
			continue
		}
		out.Months = append(out.Months, ReplayMonth{
			Month: start.Format(monthLayout), FittedOn: pricing.DateOf(start) - 1, Sold: judged.Sold, MedianError: judged.MedianError, Inside: judged.Inside,
		})
	}
	out.Scores = score(all.list, fit.Day)
	return out, nil
}

// judgedBy is what a model says of a listing when it begins, told what its
// seller thought.
func judgedBy(m *pricing.Model, l pricing.Listing, on pricing.Date, s pricing.Settings) pricing.Outline {
	estimate, _ := l.OwnEstimate()
	return m.Outline(pricing.Query{Attributes: l.Attributes, Estimate: estimate}, on, s)
}

// replayedPromises joins what was promised of a listing in different months:
// its ask when it was listed, its price before it sold.
type replayedPromises struct {
	list []promised
	at   map[string]int
}

func (r *replayedPromises) add(month []promised) {
	if r.at == nil {
		r.at = make(map[string]int)
	}
	for _, p := range month {
		i, ok := r.at[p.listing.ID]
		if !ok {
			r.at[p.listing.ID] = len(r.list)
			r.list = append(r.list, p)
			continue
		}
		r.list[i].price = p.price // the ask came first
	}
}

// replayMonth asks the model of the day before about the sales and the new
// listings of [from, to). The ask is suggested without the seller's, but for a
// recorded estimate; the chance at the seller's ask knows it, as one told of an
// open listing does.
func replayMonth(fit *model.Fit, h pricing.History, from, to pricing.Date, s pricing.Settings) ([]promised, *pricing.Model) {
	isIn := func(day pricing.Date) bool { return from <= day && day < to }
	var asked []pricing.Listing
	for _, l := range h.Listings {
		isSale := l.Outcome == pricing.Sold && isIn(l.EndedOn)
		if !l.Observed && len(l.Asks) > 0 && (isIn(l.ListedOn) || isSale) {
			asked = append(asked, l)
		}
	}
	if asked == nil {
		return nil, nil
	}
	model := pricing.Fit(pricing.Cut(h, from-1), from-1)
	var out []promised
	for _, l := range asked {
		outline := model.Outline(pricing.Query{Attributes: l.Attributes, Estimate: l.Estimate}, from, s)
		p := promised{listing: l, used: l.Asks[0].Amount, usedOn: l.ListedOn, within: replayWithin}
		if isIn(l.EndedOn) {
			p.price = outline.SalePrice // a sale is predicted once, just before its month
		}
		listed := judgedBy(model, l, from, s).Prospects
		if ask := outline.Ask(); isIn(l.ListedOn) && ask > 0 && listed != nil {
			p.ask, p.chance = ask, listed.ChanceSold(p.used, 0, replayWithin)
			p.now = judgedBy(fit.Model, l, l.ListedOn, s).Prospects
			if outline.SalePrice != nil {
				p.likely = outline.SalePrice.Likely
			}
		}
		if p.price != nil || p.ask > 0 {
			out = append(out, p)
		}
	}
	return out, model
}
