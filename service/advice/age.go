package advice

import (
	"cmp"
	"context"
	"slices"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// AgeBands are the last active days of the bands that open listings are counted
// in; the last band has no end. Common practice, no source.
var AgeBands = []int{14, 30, 60, 90}

// AgeQuery selects open listings.
type AgeQuery struct {
	Member uuid.UUID    // zero: everybody's
	AsOf   pricing.Date // zero: today
}

// AgeLine is how old the open listings of one category are, in active days.
type AgeLine struct {
	Category  string
	Listings  int
	Paused    int
	Bands     []int // listings by AgeBands, one more than those
	MedianAge float64
	Oldest    *service.Listing
	OldestAge int
	Asked     service.Money // sum of the asks
}

// ListingAge tells how old the group's open listings are by category, the one
// with most listings first.
func (s *Service) ListingAge(ctx context.Context, a *service.Actor, q AgeQuery) ([]AgeLine, error) {
	day := cmp.Or(q.AsOf, a.Today)
	if day > a.Today {
		return nil, service.Invalid("as_of", "%s is in the future", day)
	}
	rows, err := s.fits.OpenRecords(ctx, a, day)
	if err != nil {
		return nil, err
	}
	byCategory := make(map[string]*AgeLine)
	ages := make(map[string][]int)
	for _, r := range rows.All {
		if !r.OpenOn(day) || (q.Member != uuid.Nil && r.MemberID != q.Member) {
			continue
		}
		line := byCategory[r.Category]
		if line == nil {
			line = &AgeLine{Category: r.Category, Bands: make([]int, len(AgeBands)+1)}
			byCategory[r.Category] = line
		}
		age := r.Evidence(a.Group.Currency).ActiveDays(day)
		line.add(r.Listing, age, day)
		ages[r.Category] = append(ages[r.Category], age)
	}
	out := make([]AgeLine, 0, len(byCategory))
	for category, line := range byCategory {
		line.MedianAge = median(ages[category])
		line.Oldest = line.Oldest.WithoutOwnerOnly()
		out = append(out, *line)
	}
	slices.SortFunc(out, func(x, y AgeLine) int {
		return cmp.Or(cmp.Compare(y.Listings, x.Listings), cmp.Compare(x.Category, y.Category))
	})
	return out, nil
}

func (line *AgeLine) add(l *service.Listing, age int, day pricing.Date) {
	line.Listings++
	line.Asked += l.AskOn(day)
	if l.PausedOn(day) {
		line.Paused++
	}
	band, _ := slices.BinarySearch(AgeBands, age)
	line.Bands[band]++
	if o := line.Oldest; o == nil || age > line.OldestAge || (age == line.OldestAge && l.Ref < o.Ref) {
		line.Oldest, line.OldestAge = l, age
	}
}

// median is the middle one, or the mean of the two.
func median(values []int) float64 {
	slices.Sort(values)
	n := len(values)
	return float64(values[(n-1)/2]+values[n/2]) / 2
}
