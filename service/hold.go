package service

import (
	"fmt"

	"github.com/google/uuid"

	"askwright/pricing"
)

// Hold is a listing kept for a buyer until the end of a day. The clock stops
// meanwhile.
type Hold struct {
	On, Until  pricing.Date
	Deposit    bool         // one was paid
	ReleasedOn pricing.Date // zero: not released
	Why        string       // it was released
}

// Why a hold was released.
const (
	ReleasedNoShow      = "no_show"      // the buyer did not come
	ReleasedFellThrough = "fell_through" // the buyer came or wrote, and did not take it
	ReleasedCancelled   = "cancelled"    // by the seller: it tells nothing of buyers
)

// ReleaseReasons are why a hold may be released.
var ReleaseReasons = []string{ReleasedNoShow, ReleasedFellThrough, ReleasedCancelled}

// MaxDaysAhead bounds how far ahead a promise or a hold may lie.
const MaxDaysAhead = 90

// IsOver reports whether its last day has passed.
func (h *Hold) IsOver(day pricing.Date) bool { return h.Until < day }

// Sentence tells of a hold on a day, also that nobody told what came of it.
func (h *Hold) Sentence(day pricing.Date) string {
	if h.IsOver(day) {
		return fmt.Sprintf("Hold ended %s. Sold? If not, release it.", h.Until)
	}
	return fmt.Sprintf("On hold for a buyer until %s.", h.Until)
}

// HoldsOf reads the holds from the events of listings, in their order.
func HoldsOf(events []Event) (map[uuid.UUID][]Hold, error) {
	holds := make(map[uuid.UUID][]Hold)
	for i := range events {
		e := &events[i]
		of := holds[e.ListingID]
		switch {
		case e.VoidedBy != uuid.Nil:
		case e.Kind == EventHold:
			read := storedDetails{event: e}
			holds[e.ListingID] = append(of, Hold{On: e.On, Until: read.day("until"), Deposit: e.Details["deposit"] != ""})
			if read.err != nil {
				return nil, read.err
			}
		case e.Kind == EventRelease && len(of) > 0 && of[len(of)-1].ReleasedOn.IsZero():
			of[len(of)-1].ReleasedOn, of[len(of)-1].Why = e.On, e.Details["why"]
		}
	}
	return holds, nil
}

// HeldIn is the last hold of a listing by its events, where it was not
// released; nil: none.
func HeldIn(l *Listing, events []Event) (*Hold, error) {
	holds, err := HoldsOf(events)
	return Unreleased(holds[l.ID]), err
}

// Unreleased is the last hold, where it was not released; nil: none.
func Unreleased(holds []Hold) *Hold {
	if n := len(holds); n > 0 && holds[n-1].ReleasedOn.IsZero() {
		return &holds[n-1]
	}
	return nil
}

// TurnUps counts how holds ended, without and with a deposit.
type TurnUps [2]TurnUp

// TurnUp counts holds by whether the buyer came and paid.
type TurnUp struct{ Kept, Broken int }

// Of is the count with or without a deposit.
func (t *TurnUps) Of(deposit bool) *TurnUp {
	if deposit {
		return &t[1]
	}
	return &t[0]
}

// Chance is that a buyer who promised comes and pays.
func (t *TurnUps) Chance(deposit bool) float64 {
	n := t.Of(deposit)
	return pricing.TurnUp(deposit, n.Kept, n.Broken)
}

// Count adds the holds of a listing: the last one was kept where it sold, the
// others were broken unless the seller ended them.
func (t *TurnUps) Count(holds []Hold, sold bool) {
	for i, h := range holds {
		n := t.Of(h.Deposit)
		switch {
		case h.Why == ReleasedNoShow || h.Why == ReleasedFellThrough:
			n.Broken++
		case h.ReleasedOn.IsZero() && i == len(holds)-1 && sold:
			n.Kept++
		}
	}
}
