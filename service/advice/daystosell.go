package advice

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"

	"askwright/pricing"
	"askwright/pricing/stats"
	"askwright/service"
	"askwright/service/model"
)

// CategorySpeed is how fast a category's own listings have sold, in active
// days: the share that is still unsold after so many.
type CategorySpeed struct {
	Category string // empty: all together
	*stats.SurvivalCurve
}

// fewSpeeds is below how many sales a category has no curve of its own.
const fewSpeeds = 8 // common practice, no source

// DaysToSell tells how fast the group's own listings have sold: all together,
// then each category with sales enough, by name. Those that are open or were
// pulled would have sold later. It is empty before anything was listed. It
// is kept with the model, so that the history is read once after each change.
func (s *Service) DaysToSell(ctx context.Context, a *service.Actor) ([]CategorySpeed, error) {
	fit, err := s.fits.Current(ctx, a)
	if err != nil {
		return nil, err
	}
	return model.Memo(fit, func() ([]CategorySpeed, error) {
		rows, err := s.fits.AllRecords(ctx, a)
		if err != nil {
			return nil, err
		}
		return speedsOf(model.History(rows.All, a.Group.Currency), a.Today)
	})
}

func speedsOf(h pricing.History, today pricing.Date) ([]CategorySpeed, error) {
	var all []stats.Lifetime
	byCategory := make(map[string][]stats.Lifetime)
	sold := make(map[string]int)
	for _, l := range h.Listings {
		if l.Observed {
			continue
		}
		life := stats.Lifetime{Days: float64(l.ActiveDays(cmp.Or(l.EndedOn, today))), Sold: l.Outcome == pricing.Sold}
		all = append(all, life)
		byCategory[l.Category] = append(byCategory[l.Category], life)
		if life.Sold {
			sold[l.Category]++
		}
	}
	if len(all) == 0 {
		return nil, nil
	}
	curve, err := stats.KaplanMeier(all)
	if err != nil {
		return nil, fmt.Errorf("days to sell: %w", err)
	}
	out := []CategorySpeed{{SurvivalCurve: curve}}
	for _, category := range slices.Sorted(maps.Keys(byCategory)) {
		if sold[category] < fewSpeeds {
			continue
		}
		if curve, err = stats.KaplanMeier(byCategory[category]); err != nil {
			return nil, fmt.Errorf("days to sell of %s: %w", category, err)
		}
		out = append(out, CategorySpeed{Category: category, SurvivalCurve: curve})
	}
	return out, nil
}
