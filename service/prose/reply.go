package prose

import (
	"fmt"

	"askwright/pricing"
)

// Reply is what to write to a buyer who made an offer. comes is the day on which
// they come; zero: not told.
func (v Voice) Reply(o *pricing.OfferAdvice, amount float64, comes, today pricing.Date) string {
	when := "When can you pick it up?"
	if comes > today {
		when = fmt.Sprintf("See you %s.", Day(comes, today))
	} else if comes == today {
		when = "See you today."
	}
	switch o.Action {
	case pricing.OfferTake:
		return fmt.Sprintf("Yes, %s works. %s", v.Money(amount), when)
	case pricing.OfferCounter:
		return fmt.Sprintf("Thanks for the offer. I can do %s. %s", v.Money(*o.Counter), when)
	}
	return fmt.Sprintf("Thanks for the offer. I'm staying at %s for now.", v.Money(o.Ask))
}
