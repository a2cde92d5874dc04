package recording

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// AddEvent records a fact about a listing and changes the row with it.
func (s *Service) AddEvent(ctx context.Context, a *service.Actor, listing uuid.UUID, n service.NewEvent, wantRevision *int64) (*service.Change, error) {
	if err := n.Check(); err != nil {
		return nil, err
	}
	if n.Kind == service.EventRefinish {
		ended, _, err := s.refinish(ctx, a, n, func(ctx context.Context, w Writer) (*service.Listing, error) {
			return listingToChange(ctx, a, w, listing, wantRevision)
		})
		return ended, err
	}
	return s.alter(ctx, a, listing, wantRevision, func(ctx context.Context, w Writer, l *service.Listing) (service.Cells, service.ChangeOptions, *service.Event, error) {
		on, err := eventDay(a, n.On)
		if err != nil {
			return nil, service.ChangeOptions{}, nil, err
		}
		switch {
		case n.Kind == service.EventVoid:
			return undo(ctx, a, w, l, n.Voids, on)
		case n.Kind == "reopen" && l.ClosedAs != "", slices.Contains(yardEvents, n.Kind):
			if err := isNewest(ctx, w, l); err != nil {
				return nil, service.ChangeOptions{}, nil, err
			}
			return stageFact(a, l, n, on)
		}
		events, err := w.Events(ctx, l.ID)
		if err != nil {
			return nil, service.ChangeOptions{}, nil, err
		}
		return factOf(a, l, n, on, events)
	})
}

func eventDay(a *service.Actor, on string) (pricing.Date, error) {
	if on == "" {
		return a.Today, nil
	}
	day, err := a.Reader().Date(on)
	if err != nil {
		return 0, service.Invalid("on", "%v", err)
	}
	return day, nil
}

// factOf turns an event into cells of the row; events are those so far.
func factOf(a *service.Actor, l *service.Listing, n service.NewEvent, on pricing.Date, events []service.Event) (service.Cells, service.ChangeOptions, *service.Event, error) {
	none := service.ChangeOptions{}
	event := &service.Event{Kind: n.Kind, On: on}
	if !l.IsOffered() {
		return nil, none, nil, service.Refuse(service.ErrConflict, "%s is not offered yet: give it listed_on and ask first", l.Ref)
	}
	if ended := l.Outcome != service.OutcomeOpen; ended != (n.Kind == "reopen") {
		if ended {
			return nil, none, nil, service.Refuse(service.ErrConflict, "%s ended on %s as %s; reopen it first", l.Ref, l.EndedOn, l.Outcome)
		}
		return nil, none, nil, service.Refuse(service.ErrConflict, "%s is open already", l.Ref)
	}
	if on < l.ListedOn {
		return nil, none, nil, service.Invalid("on", "%s is before %s was listed on %s", on, l.Ref, l.ListedOn)
	}
	switch n.Kind {
	case service.EventAsk:
		asks, err := asksWith(a, l, n.Fields["ask"], on)
		return nil, service.Applying(func(d *service.Draft) { d.GivenAsks = asks }), event, err
	case service.EventPause:
		return nil, service.ChangeOptions{Apply: func(d *service.Draft) *service.InvalidError {
			p, err := d.Reader.Interval(on, cmp.Or(strings.TrimSpace(n.Fields["until"]), ".."))
			if err != nil {
				return service.Invalid("pauses", "%v", err)
			}
			d.SetPauses(append(d.Pauses, p))
			return nil
		}}, event, nil
	case "resume":
		if err := notHeld(l, on, events); err != nil {
			return nil, none, nil, err
		}
		event.Kind = service.EventPause
		return nil, service.Applying(func(d *service.Draft) { d.ResumedOn = on }), event, nil
	case service.EventInterest:
		return service.Cells(n.Fields), none, event, nil
	case service.EventOffer:
		return nil, none, event, readOffer(a, l, n, event)
	case service.EventAnswer:
		return nil, none, event, readAnswer(a, l, n, event, events)
	case service.EventHold:
		return placeHold(a, l, n, on, events)
	case service.EventRelease:
		return releaseHold(l, n, on, events)
	case service.EventCheck:
		return nil, none, event, readCheck(n, event)
	case service.EventSold:
		return service.Cells(n.Fields), service.Ending(service.OutcomeSold, on), event, nil
	case service.EventPulled:
		return nil, service.Ending(service.OutcomePulled, on), event, nil
	default: // reopen
		event.Kind = service.EventReopened
		o := service.Applying(func(d *service.Draft) { d.Outcome, d.EndedOn, d.SalePrice, d.SoldVenue = service.OutcomeOpen, 0, 0, "" })
		o.Reopens = true
		return nil, o, event, nil
	}
}

// notHeld refuses to resume what is saved for a buyer.
func notHeld(l *service.Listing, on pricing.Date, events []service.Event) error {
	h, err := service.HeldIn(l, events)
	if err == nil && h != nil && h.On <= on && !h.IsOver(on) {
		err = service.Refuse(service.ErrConflict, "%s is held for a buyer until %s; release it and say why", l.Ref, h.Until)
	}
	return err
}

// readCheck notes which of the cheap things to try was done.
func readCheck(n service.NewEvent, event *service.Event) error {
	check := service.Canonical(n.Fields["check"])
	if !service.IsOneOf(check, pricing.CheckCodes) {
		return service.Invalid("check", "%v", service.NotAllowed(n.Fields["check"], pricing.CheckCodes))
	}
	event.Details = map[string]string{"check": check}
	return nil
}

// asksWith is the history of asks with one more, or with that day's replaced.
func asksWith(a *service.Actor, l *service.Listing, ask string, on pricing.Date) ([]service.Ask, error) {
	amount, err := a.Reader().PositiveMoney(strings.TrimSpace(ask))
	if err != nil {
		return nil, service.Invalid("ask", "%v", err)
	}
	asks := slices.DeleteFunc(slices.Clone(l.Asks), func(x service.Ask) bool { return x.On == on })
	asks = append(asks, service.Ask{On: on, Amount: amount})
	slices.SortFunc(asks, func(x, y service.Ask) int { return int(x.On - y.On) })
	return asks, nil
}

// undo gives the columns that an event changed their values from before, if
// nothing changed them since.
func undo(ctx context.Context, a *service.Actor, w Writer, l *service.Listing, id uuid.UUID, on pricing.Date) (service.Cells, service.ChangeOptions, *service.Event, error) {
	none := service.ChangeOptions{}
	e, err := w.Event(ctx, id)
	if service.IsNotFound(err) || (err == nil && e.ListingID != l.ID) {
		return nil, none, nil, service.Refuse(service.ErrNotFound, "%s has no event with the id %s", l.Ref, id)
	}
	if err != nil {
		return nil, none, nil, err
	}
	switch {
	case e.VoidedBy != uuid.Nil:
		return nil, none, nil, service.Refuse(service.ErrConflict, "that event was undone already")
	case e.Kind == service.EventVoid:
		return nil, none, nil, service.Refuse(service.ErrConflict, "that event undid another one; record the fact again instead")
	case e.Kind == service.EventRecorded, e.Kind == service.EventListed && e.Changes["stage"].Old == "":
		return nil, none, nil, service.Refuse(service.ErrConflict, "that event put %s on file; delete the row instead", l.Ref)
	case e.Details[service.EventCostLine] != "":
		return nil, none, nil, service.Refuse(service.ErrConflict, "that event is a cost line of the piece; undo the line %s instead", e.Details[service.EventCostLine])
	}
	if e.Kind == service.EventRefinish || e.Kind == service.EventListed {
		if err := isNewest(ctx, w, l); err != nil {
			return nil, none, nil, err
		}
	}
	cells := service.Cells{}
	for name, v := range e.Changes {
		c, ok := service.ColumnByName(name)
		if !ok || c.Recorded(l, a.Group.Currency) != v.New {
			return nil, none, nil, service.Refuse(service.ErrConflict, "%s changed again since that event; undo the later event first", name)
		}
		cells[name] = v.Old
	}
	event := &service.Event{Kind: service.EventVoid, On: on, Voids: e.ID, Private: e.Private}
	o := service.ChangeOptions{Reopens: true, ClearsBlanks: true}
	if e.Kind == service.EventListed { // it is back where it was before
		delete(cells, "ask_history")
		o.Apply = func(d *service.Draft) *service.InvalidError { d.Asks = nil; return nil }
	}
	return cells, o, event, nil
}
