package advice

import (
	"cmp"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// keptReviews are what was answered lately, by the change number and the day: until
// something changes, reviews are not worked out again. They can be dropped at any
// time.
type keptReviews struct {
	mu sync.Mutex
	by map[reviewsOf]*reviewList
}

// reviewsOf names a list of reviews: whom it is for, and of whom.
type reviewsOf struct {
	asker  memberID
	isFeed bool // which sees no record of work
	member uuid.UUID
}

// reviewList is one list. Who asks while it is worked out waits for it.
type reviewList struct {
	usedAt time.Time // guarded by keptReviews, as is size
	size   int

	mu       sync.Mutex
	changeNo int64
	day      pricing.Date
	reviews  []Review // nil: not known
}

// mostKeptReviews bounds the reviews in memory, of all groups.
const mostKeptReviews = 10_000

// get gives the reviews of today, kept or worked out.
func (k *keptReviews) get(a *service.Actor, member uuid.UUID, work func() ([]Review, error)) ([]Review, error) {
	l := k.list(reviewsOf{memberID{a.Group.ID, a.MemberID}, a.Scope == service.ScopeFeed, member}, a.Now)
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.reviews == nil || l.changeNo < a.Group.ChangeNo || l.day != a.Today {
		reviews, err := work()
		if err != nil {
			return nil, err
		}
		for i := range reviews { // whoever adds to them adds to a copy
			reviews[i].Sentences = slices.Clip(reviews[i].Sentences)
		}
		l.reviews, l.changeNo, l.day = append([]Review{}, reviews...), a.Group.ChangeNo, a.Today
		k.makeRoom(l, len(reviews))
	}
	return slices.Clone(l.reviews), nil
}

// list finds the place of a list, a new one where there is none.
func (k *keptReviews) list(of reviewsOf, now time.Time) *reviewList {
	k.mu.Lock()
	defer k.mu.Unlock()
	l := k.by[of]
	if l == nil {
		if k.by == nil {
			k.by = make(map[reviewsOf]*reviewList)
		}
		l = &reviewList{}
		k.by[of] = l
	}
	l.usedAt = now
	return l
}

// makeRoom notes the size of a list and forgets those that were longest unused,
// at last the list itself, where all together are too many.
func (k *keptReviews) makeRoom(of *reviewList, size int) {
	k.mu.Lock()
	defer k.mu.Unlock()
	const ofItself = 10 // that a list takes without reviews in it
	of.size = size + ofItself
	sum := 0
	for _, l := range k.by {
		sum += l.size
	}
	for sum > mostKeptReviews && len(k.by) > 0 {
		var oldest reviewsOf
		var found *reviewList
		for name, l := range k.by {
			if found == nil || (l != of && (found == of || l.usedAt.Before(found.usedAt))) {
				oldest, found = name, l
			}
		}
		sum -= found.size
		delete(k.by, oldest)
	}
}

// ReviewPlace is where a review stands in the order of reviews.
type ReviewPlace struct {
	State      string
	Gain       float64
	ActiveDays int
	ID         uuid.UUID
}

// Place is that of a review.
func (r *Review) Place() ReviewPlace { return ReviewPlace{r.State, r.Gain, r.ActiveDays, r.Row.ID} }

// compare orders the most urgent first: by state, then by what the best remedy
// gains.
func (p ReviewPlace) compare(q ReviewPlace) int {
	return cmp.Or(
		cmp.Compare(slices.Index(ListingStates, p.State), slices.Index(ListingStates, q.State)),
		cmp.Compare(q.Gain, p.Gain),
		cmp.Compare(q.ActiveDays, p.ActiveDays),
		strings.Compare(p.ID.String(), q.ID.String()),
	)
}

// ReviewsAfter are those that follow a place.
func ReviewsAfter(reviews []Review, p ReviewPlace) []Review {
	at := slices.IndexFunc(reviews, func(r Review) bool { return r.Place().compare(p) > 0 })
	if at < 0 {
		return nil
	}
	return reviews[at:]
}
