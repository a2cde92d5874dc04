package recording

import (
	"fmt"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// placeHold keeps a listing for a buyer until a day: the pause goes to that day's
// end.
func placeHold(a *service.Actor, l *service.Listing, n service.NewEvent, on pricing.Date, events []service.Event) (service.Cells, service.ChangeOptions, *service.Event, error) {
	none := service.ChangeOptions{}
	h, err := service.HeldIn(l, events)
	if err != nil {
		return nil, none, nil, err
	}
	if h != nil {
		return nil, none, nil, service.Refuse(service.ErrConflict, "%s is held already, until %s; release it first", l.Ref, h.Until)
	}
	until, err := comingDay(a, n.Fields["until"], on)
	if err != nil {
		return nil, none, nil, service.Invalid("until", "%v", err)
	}
	event := &service.Event{Kind: service.EventHold, On: on, Details: map[string]string{"until": until.String()}, OwnerDetails: map[string]string{}}
	for name := range n.Fields {
		if name != "until" && l.MemberID != a.MemberID {
			return nil, none, nil, service.Invalid(name, "belongs to %s alone, also with an admin key", l.Member)
		}
	}
	if err := holdTerms(a, event, n, events); err != nil {
		return nil, none, nil, err
	}
	return nil, service.Applying(func(d *service.Draft) {
		d.SetPauses(append(d.Pauses, pricing.Interval{From: on, To: until + 1}))
	}), event, nil
}

// holdTerms notes the deposit and the offer that led to a hold; that there is a
// deposit is told to all, how much to the owner.
func holdTerms(a *service.Actor, event *service.Event, n service.NewEvent, events []service.Event) error {
	deposit := strings.TrimSpace(n.Fields["deposit"])
	if id := strings.TrimSpace(n.Fields["offer"]); id != "" {
		offer := eventWithID(events, id)
		if offer == nil || offer.Kind != service.EventOffer || offer.VoidedBy != uuid.Nil {
			return service.Invalid("offer", "this listing has no offer with the id %s", service.Clip(id))
		}
		event.OwnerDetails["offer"] = offer.ID.String()
		if deposit == "" {
			deposit = offer.Details["deposit"]
		}
	}
	if deposit == "" {
		return nil
	}
	amount, err := a.Reader().PositiveMoney(deposit)
	if err != nil {
		return service.Invalid("deposit", "%v", err)
	}
	event.Details["deposit"] = "paid"
	event.OwnerDetails["deposit"] = amount.Format(a.Group.Currency)
	return nil
}

func eventWithID(events []service.Event, id string) *service.Event {
	for i := range events {
		if strings.EqualFold(events[i].ID.String(), id) {
			return &events[i]
		}
	}
	return nil
}

// releaseHold ends a hold: what is left of its pause goes.
func releaseHold(l *service.Listing, n service.NewEvent, on pricing.Date, events []service.Event) (service.Cells, service.ChangeOptions, *service.Event, error) {
	none := service.ChangeOptions{}
	h, err := service.HeldIn(l, events)
	why := service.Canonical(n.Fields["why"])
	switch {
	case err != nil:
		return nil, none, nil, err
	case h == nil:
		return nil, none, nil, service.Refuse(service.ErrConflict, "%s is not held", l.Ref)
	case !service.IsOneOf(why, service.ReleaseReasons):
		return nil, none, nil, service.Invalid("why", "%v", service.NotAllowed(n.Fields["why"], service.ReleaseReasons))
	case on < h.On:
		return nil, none, nil, service.Invalid("on", "%s is before the hold began on %s", on, h.On)
	}
	event := &service.Event{Kind: service.EventRelease, On: on, Details: map[string]string{"why": why}}
	if h.IsOver(on) {
		return nil, none, event, nil
	}
	return nil, service.Applying(func(d *service.Draft) {
		d.SetPauses(without(d.Pauses, pricing.Interval{From: on, To: h.Until + 1}))
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
func comingDay(a *service.Actor, text string, from pricing.Date) (pricing.Date, error) {
	text = strings.TrimSpace(text)
	if strings.EqualFold(text, "today") {
		return from, nil
	}
	iso, err := a.Reader().IsoDate(text)
	if err != nil {
		return 0, err
	}
	day, err := pricing.ParseDate(iso)
	switch {
	case err != nil:
		return 0, fmt.Errorf("%q is not a day of the calendar; write dates like 2026-03-05, or today", service.Clip(text))
	case day < from:
		return 0, fmt.Errorf("%s is before %s", day, from)
	case day > from+service.MaxDaysAhead:
		return 0, fmt.Errorf("%s is more than %d days ahead", day, service.MaxDaysAhead)
	}
	return day, nil
}
