package recording

import (
	"strings"

	"askwright/service"
)

// readOffer reads what is told of an offer into its event.
func readOffer(a *service.Actor, l *service.Listing, n service.NewEvent, event *service.Event) error {
	if err := a.NeedOwner(l); err != nil {
		return err
	}
	if l.IsObserved() {
		return service.Refuse(service.ErrConflict, "%s is a stranger's listing; offers are for one's own", l.Ref)
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
