package recording

import (
	"maps"

	"askwright/pricing"
	"askwright/service"
)

// What happens to a piece before it is offered, and when it leaves without a
// sale. A row and an event say the same: the events here become cells.

// yardEvents are the events of a piece that need no listing.
var yardEvents = []string{service.EventBought, service.EventOnBench, service.EventListed, service.EventPassed, service.EventRetired}

// stageFact turns an event of the yard into cells of the row.
func stageFact(a *service.Actor, l *service.Listing, n service.NewEvent, on pricing.Date) (service.Cells, service.ChangeOptions, *service.Event, error) {
	none := service.ChangeOptions{}
	event := &service.Event{Kind: n.Kind, On: on}
	if n.Kind == "reopen" {
		event.Kind = service.EventReopened
		o := service.Applying(func(d *service.Draft) { d.ClosedAs, d.ClosedOn, d.ClosedNote = "", 0, "" })
		o.Reopens = true
		return nil, o, event, nil
	}
	if err := l.TakesYardEvent(n.Kind); err != nil {
		return nil, none, nil, err
	}
	cells := service.Cells(maps.Clone(n.Fields))
	var move func(d *service.Draft)
	switch n.Kind {
	case service.EventBought:
		move = func(d *service.Draft) { d.Stage = service.StageBought }
		if l.MemberID == a.MemberID {
			event.On = a.Today // the day of the purchase is the owner's alone
			move = func(d *service.Draft) { d.Stage, d.Ledger.BoughtOn = service.StageBought, on }
		}
	case service.EventOnBench:
		move = func(d *service.Draft) { d.Stage = service.StageOnBench }
	case service.EventListed:
		move = func(d *service.Draft) { d.ListedOn = on }
	case service.EventPassed, service.EventRetired:
		allowed := map[string][]string{service.EventPassed: service.PassedFor, service.EventRetired: service.LetGoAs}[n.Kind]
		if !service.IsOneOf(service.Canonical(cells["reason"]), allowed) {
			return nil, none, nil, service.Invalid("reason", "%v", service.NotAllowed(cells["reason"], allowed))
		}
		cells["closed_as"], cells["closed_note"] = cells["reason"], cells["note"]
		delete(cells, "reason")
		delete(cells, "note")
		move = func(d *service.Draft) {
			d.ClosedOn = on
			if d.Outcome == service.OutcomeOpen {
				d.Outcome, d.EndedOn = service.OutcomePulled, on
			}
		}
	}
	return cells, service.Applying(move), event, nil
}
