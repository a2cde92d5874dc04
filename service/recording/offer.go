package recording

import (
	"strings"

	"github.com/google/uuid"

	"askwright/service"
)

// readAnswer reads what was said to an offer into its event.
func readAnswer(a *service.Actor, l *service.Listing, n service.NewEvent, event *service.Event, events []service.Event) error {
	if err := a.NeedOwner(l); err != nil {
		return err
	}
	offer := eventWithID(events, strings.TrimSpace(n.Fields["offer"]))
	if offer == nil || offer.Kind != service.EventOffer || offer.VoidedBy != uuid.Nil {
		return service.Invalid("offer", "%s has no offer with the id %s", l.Ref, service.Clip(n.Fields["offer"]))
	}
	answer, amount := service.Canonical(n.Fields["answer"]), strings.TrimSpace(n.Fields["amount"])
	switch {
	case !service.IsOneOf(answer, service.Answers):
		return service.Invalid("answer", "%v", service.NotAllowed(n.Fields["answer"], service.Answers))
	case (answer == "counter") != (amount != ""):
		return service.Invalid("amount", "is what you ask instead: give it with a counter, and only then")
	}
	event.Private, event.Details = true, map[string]string{"offer": offer.ID.String(), "answer": answer}
	if amount != "" {
		counter, err := a.Reader().PositiveMoney(amount)
		if err != nil {
			return service.Invalid("amount", "%v", err)
		}
		event.Details["amount"] = counter.Format(a.Group.Currency)
	}
	return nil
}

// readOffer reads what is told of an offer into its event.
func readOffer(a *service.Actor, l *service.Listing, n service.NewEvent, event *service.Event) error {
	if err := a.NeedOwner(l); err != nil {
		return err
	}
	if l.IsObserved() {
		return service.Refuse(service.ErrConflict, "%s is someone else's listing; offers are for your own", l.Ref)
	}
	amount, err := a.Reader().PositiveMoney(strings.TrimSpace(n.Fields["amount"]))
	if err != nil {
		return service.Invalid("amount", "%v", err)
	}
	c := a.Group.Currency
	event.Private, event.Details = true, map[string]string{"amount": amount.Format(c)}
	if comes := n.Fields["comes"]; strings.TrimSpace(comes) != "" {
		day, err := comingDay(a, comes, event.On)
		if err != nil {
			return service.Invalid("comes", "%v", err)
		}
		event.Details["comes"] = day.String()
	}
	switch cash := strings.TrimSpace(n.Fields["cash"]); cash {
	case "", "false":
	case "true":
		event.Details["cash"] = cash
	default:
		return service.Invalid("cash", "expected true or false")
	}
	if deposit := strings.TrimSpace(n.Fields["deposit"]); deposit != "" {
		paid, err := a.Reader().PositiveMoney(deposit)
		if err == nil && paid > amount {
			return service.Invalid("deposit", "%s is more than the offer", paid.Format(c))
		}
		if err != nil {
			return service.Invalid("deposit", "%v", err)
		}
		event.Details["deposit"] = paid.Format(c)
	}
	if note := strings.TrimSpace(n.Fields["note"]); note != "" {
		if err := service.CheckText(note, 1000); err != nil {
			return service.Invalid("note", "%v", err)
		}
		event.Details["note"] = note
	}
	return nil
}
