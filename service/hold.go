package service

import (
	"context"
	"fmt"
	"slices"
	"strings"

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

var releaseReasons = []string{ReleasedNoShow, ReleasedFellThrough, ReleasedCancelled}

// maxDaysAhead bounds how far ahead a promise or a hold may lie.
const maxDaysAhead = 90

// isOver reports whether its last day has passed.
func (h *Hold) isOver(day pricing.Date) bool { return h.Until < day }

// sentence tells of a hold on a day, also that nobody told what came of it.
func (h *Hold) sentence(day pricing.Date) string {
	if h.isOver(day) {
		return fmt.Sprintf("It was held for a buyer until %s and nobody has told what came of that: record the sale, or release it and say why. The clock runs again.", h.Until)
	}
	return fmt.Sprintf("It is held for a buyer until %s.", h.Until)
}

// holdsOf reads the holds from the events of listings, in their order.
func holdsOf(events []Event) (map[uuid.UUID][]Hold, error) {
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

// heldIn is the last hold of a listing by its events, where it was not
// released; nil: none.
func heldIn(l *Listing, events []Event) (*Hold, error) {
	holds, err := holdsOf(events)
	return unreleased(holds[l.ID]), err
}

// unreleased is the last hold, where it was not released; nil: none.
func unreleased(holds []Hold) *Hold {
	if n := len(holds); n > 0 && holds[n-1].ReleasedOn.IsZero() {
		return &holds[n-1]
	}
	return nil
}

// turnUps counts how holds ended, without and with a deposit.
type turnUps [2]turnUp

// turnUp counts holds by whether the buyer came and paid.
type turnUp struct{ kept, broken int }

func (t *turnUps) of(deposit bool) *turnUp {
	if deposit {
		return &t[1]
	}
	return &t[0]
}

// chance is that a buyer who promised comes and pays.
func (t *turnUps) chance(deposit bool) float64 {
	n := t.of(deposit)
	return pricing.TurnUp(deposit, n.kept, n.broken)
}

// count adds the holds of a listing: the last one was kept where it sold, the
// others were broken unless the seller ended them.
func (t *turnUps) count(holds []Hold, sold bool) {
	for i, h := range holds {
		n := t.of(h.Deposit)
		switch {
		case h.Why == ReleasedNoShow || h.Why == ReleasedFellThrough:
			n.broken++
		case h.ReleasedOn.IsZero() && i == len(holds)-1 && sold:
			n.kept++
		}
	}
}

// holds reads all holds of the group up to a day, by listing, with how they
// ended.
func (s *Service) holds(ctx context.Context, a *Actor, day pricing.Date) (map[uuid.UUID][]Hold, turnUps, error) {
	var ended turnUps
	events, sold, err := s.store.HoldEvents(ctx, a.Tenant(), day)
	if err != nil {
		return nil, ended, fmt.Errorf("read the holds: %w", err)
	}
	holds, err := holdsOf(events)
	if err != nil {
		return nil, ended, err
	}
	for id, of := range holds {
		ended.count(of, slices.Contains(sold, id))
	}
	return holds, ended, nil
}

// hold keeps a listing for a buyer until a day: the pause goes to that day's
// end.
func (a *Actor) hold(l *Listing, n NewEvent, on pricing.Date, events []Event) (Cells, changeOptions, *Event, error) {
	none := changeOptions{}
	h, err := heldIn(l, events)
	if err != nil {
		return nil, none, nil, err
	}
	if h != nil {
		return nil, none, nil, refuse(ErrConflict, "%s is held already, until %s; release it first", l.Ref, h.Until)
	}
	until, err := a.comingDay(n.Fields["until"], on)
	if err != nil {
		return nil, none, nil, Invalid("until", "%v", err)
	}
	event := &Event{Kind: EventHold, On: on, Details: map[string]string{"until": until.String()}, OwnerDetails: map[string]string{}}
	for name := range n.Fields {
		if name != "until" && l.MemberID != a.MemberID {
			return nil, none, nil, Invalid(name, "belongs to %s alone, also with an admin key", l.Member)
		}
	}
	if err := a.holdTerms(event, n, events); err != nil {
		return nil, none, nil, err
	}
	return nil, applying(func(d *draft) {
		d.setPauses(append(d.Pauses, pricing.Interval{From: on, To: until + 1}))
	}), event, nil
}

// holdTerms notes the deposit and the offer that led to a hold; that there is a
// deposit is told to all, how much to the owner.
func (a *Actor) holdTerms(event *Event, n NewEvent, events []Event) error {
	deposit := strings.TrimSpace(n.Fields["deposit"])
	if id := strings.TrimSpace(n.Fields["offer"]); id != "" {
		offer := eventWithID(events, id)
		if offer == nil || offer.Kind != EventOffer || offer.VoidedBy != uuid.Nil {
			return Invalid("offer", "this listing has no offer with the id %s", clip(id))
		}
		event.OwnerDetails["offer"] = offer.ID.String()
		if deposit == "" {
			deposit = offer.Details["deposit"]
		}
	}
	if deposit == "" {
		return nil
	}
	amount, err := a.Reader().positiveMoney(deposit)
	if err != nil {
		return Invalid("deposit", "%v", err)
	}
	event.Details["deposit"] = "paid"
	event.OwnerDetails["deposit"] = amount.Format(a.Group.Currency)
	return nil
}

func eventWithID(events []Event, id string) *Event {
	for i := range events {
		if strings.EqualFold(events[i].ID.String(), id) {
			return &events[i]
		}
	}
	return nil
}

// release ends a hold: what is left of its pause goes.
func (a *Actor) release(l *Listing, n NewEvent, on pricing.Date, events []Event) (Cells, changeOptions, *Event, error) {
	none := changeOptions{}
	h, err := heldIn(l, events)
	why := canonicalWord(n.Fields["why"])
	switch {
	case err != nil:
		return nil, none, nil, err
	case h == nil:
		return nil, none, nil, refuse(ErrConflict, "%s is not held", l.Ref)
	case !oneOf(why, releaseReasons):
		return nil, none, nil, Invalid("why", "%v", notAllowed(n.Fields["why"], releaseReasons))
	case on < h.On:
		return nil, none, nil, Invalid("on", "%s is before the hold began on %s", on, h.On)
	}
	event := &Event{Kind: EventRelease, On: on, Details: map[string]string{"why": why}}
	if h.isOver(on) {
		return nil, none, event, nil
	}
	return nil, applying(func(d *draft) {
		d.setPauses(without(d.Pauses, pricing.Interval{From: on, To: h.Until + 1}))
	}), event, nil
}

// without takes a stretch out of pauses.
func without(pauses []pricing.Interval, gone pricing.Interval) []pricing.Interval {
	var out []pricing.Interval
	for _, p := range pauses {
		if before := (pricing.Interval{From: p.From, To: gone.From}); p.From < gone.From {
			if !p.To.IsZero() {
				before.To = min(before.To, p.To)
			}
			out = append(out, before)
		}
		if p.To.IsZero() || p.To > gone.To {
			out = append(out, pricing.Interval{From: max(p.From, gone.To), To: p.To})
		}
	}
	return out
}

// comingDay reads a day that a buyer is to come on, seen from the day on which
// it was agreed.
func (a *Actor) comingDay(text string, from pricing.Date) (pricing.Date, error) {
	text = strings.TrimSpace(text)
	if strings.EqualFold(text, "today") {
		return from, nil
	}
	iso, err := a.Reader().isoDate(text)
	if err != nil {
		return 0, err
	}
	day, err := pricing.ParseDate(iso)
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q is not a day of the calendar; write dates like 2026-03-05, or today", clip(text))
	case day < from:
		return 0, fmt.Errorf("%s is before %s", day, from)
	case day > from+maxDaysAhead:
		return 0, fmt.Errorf("%s is more than %d days ahead", day, maxDaysAhead)
	}
	return day, nil
}
