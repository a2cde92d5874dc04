package history

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/prose"
)

// The kinds of a story's entries; those of events keep their names.
const (
	StoryFound    = "found"
	StoryBought   = "bought"
	StoryOnBench  = "on_bench"
	StoryFinished = "finished" // the look with which it was first offered
	StoryRelisted = "relisted" // a later listing of the same piece
	StoryCost     = "cost"     // owner-only
	StoryNote     = "note"     // owner-only
	StoryResult   = "result"   // owner-only: what was left of it in the end
)

// Entry is one thing that happened to a piece, in plain words.
type Entry struct {
	On      pricing.Date // zero: the day is not known
	Kind    string
	Ref     string // of the row it belongs to
	Text    string
	Figures []Figure
}

// Figure is a number of an entry: an amount in the group's currency, days,
// hours or a count, in canonical text.
type Figure struct {
	Name, Value string
}

// Story tells all that happened to a piece, in order: the facts as they stand,
// without what was undone. What only the owner may see is left out for others
// and for a feed key.
func (s *Service) Story(ctx context.Context, a *service.Actor, p *service.Piece) ([]Entry, error) {
	t := &teller{currency: a.Group.Currency, today: a.Today, isOwner: p.MemberID == a.MemberID && a.Scope != service.ScopeFeed}
	if t.isOwner {
		var err error
		if t.lines, err = s.store.CostLines(ctx, a.Tenant(), p.ID); err != nil {
			return nil, fmt.Errorf("read the ledger of %s: %w", p.Ref, err)
		}
	}
	for i, row := range p.Listings {
		events, err := s.store.Events(ctx, a.Tenant(), row.ID)
		if err != nil {
			return nil, fmt.Errorf("read the events of %s: %w", row.Ref, err)
		}
		if !t.isOwner {
			row = row.WithoutOwnerOnly()
		}
		t.before, t.row, t.events = t.row, row, t.standing(events)
		if i == 0 {
			t.arrival(events)
		}
		t.work()
		t.offer()
		t.end()
	}
	t.result(a.Group, p)
	slices.SortStableFunc(t.entries, func(x, y Entry) int { return cmp.Compare(x.On, y.On) })
	return t.entries, nil
}

// teller tells the story row by row.
type teller struct {
	currency     service.Currency
	today        pricing.Date
	isOwner      bool
	before, row  *service.Listing // the row told last and the one being told
	beforeEvents []service.Event
	events       []service.Event    // of the row, as they stand
	lines        []service.CostLine // of the piece; none for others than its owner
	entries      []Entry
}

func (t *teller) add(on pricing.Date, kind, text string, figures ...Figure) {
	figures = slices.DeleteFunc(figures, func(f Figure) bool { return f.Value == "" })
	t.entries = append(t.entries, Entry{On: on, Kind: kind, Ref: t.row.Ref, Text: service.UpperFirst(text), Figures: figures})
}

func (t *teller) money(name string, m service.Money) Figure {
	if m == 0 {
		return Figure{}
	}
	return Figure{name, m.Format(t.currency)}
}

func number(name string, n int) Figure { return Figure{name, fmt.Sprint(n)} }

// standing leaves out what was undone, with the undoing, and what the actor
// may not see.
func (t *teller) standing(events []service.Event) []service.Event {
	t.beforeEvents = t.events
	undoing := map[int64]bool{}
	for _, e := range events {
		if e.Kind == service.EventVoid {
			undoing[e.ChangeNo] = true
		}
	}
	return slices.DeleteFunc(slices.Clone(events), func(e service.Event) bool {
		return e.VoidedBy != uuid.Nil || undoing[e.ChangeNo] || (e.Private && !t.isOwner)
	})
}

// arrival tells how the piece came: found, bought, taken into work. all are the
// events of its first row, the undone ones with them.
func (t *teller) arrival(all []service.Event) {
	stage := t.row.Stage // as it was recorded
	for _, e := range slices.Backward(all) {
		if v, ok := e.Changes["stage"]; ok {
			stage = v.Old
		}
	}
	bought := false
	for _, e := range t.events {
		to := e.Changes["stage"].New
		if e.Kind == service.EventRecorded {
			to = stage
		}
		switch to {
		case service.StageFound:
			t.found(e.On)
		case service.StageBought:
			bought = true
			t.bought(e.On)
		case service.StageOnBench:
			if !bought {
				bought = true
				t.bought(0)
			}
			t.add(notAfter(e.On, t.row.ListedOn, t.row.ClosedOn), StoryOnBench, "taken into work")
		}
	}
	if !bought {
		t.bought(0)
	}
}

// found tells a find. What is recorded late still came before what followed.
func (t *teller) found(recorded pricing.Date) {
	on := notAfter(recorded, t.row.Ledger.BoughtOn, t.row.ListedOn, t.row.ClosedOn)
	text := "found: " + prose.What(t.row)
	if m := t.row.SellerAsk; m != 0 {
		text += "; the seller asks " + m.Short(t.currency)
	}
	t.add(on, StoryFound, text, t.money("seller_ask", t.row.SellerAsk))
}

// notAfter is the day, or the first known one of what came later.
func notAfter(day pricing.Date, later ...pricing.Date) pricing.Date {
	for _, d := range later {
		if !d.IsZero() {
			day = min(day, d)
		}
	}
	return day
}

// work tells how the piece came to its look, and what that took.
func (t *teller) work() {
	row := t.row
	if t.before != nil {
		t.refinish()
	}
	t.spent("work", costWords{service.CostPurchase, "for buying it"}, costWords{service.CostPickup, "for pickup"}, costWords{service.CostHours, "at the bench"},
		costWords{service.CostHoursOther, "of other work"}, costWords{service.CostMaterials, "for materials"}, costWords{service.CostOther, "for other things"})
	if look := prose.Look(row); t.before == nil && row.IsOffered() && look != "" {
		t.add(row.ListedOn, StoryFinished, service.Joined("; ", look, prose.GradeInWords(row.Condition)))
	}
}

// refinish tells the change of look between two rows.
func (t *teller) refinish() {
	from, to := prose.Look(t.before), prose.Look(t.row)
	on := cmp.Or(t.before.EndedOn, t.row.ListedOn)
	done := ""
	at := slices.IndexFunc(t.beforeEvents, func(e service.Event) bool { return e.Kind == service.EventRefinish })
	if at >= 0 {
		e := t.beforeEvents[at]
		on = e.On
		for _, part := range []string{"legs", "top"} {
			if e.Details[part] != "" {
				done += "; " + part + ": " + e.Details[part]
			}
		}
	}
	if at < 0 && from == to {
		return
	}
	text := "refinished"
	if from != to {
		text += ": " + service.Joined(" → ", from, cmp.Or(to, "look not told yet"))
	}
	if x, y := t.before.Condition, t.row.Condition; x != y && y != 0 {
		done += "; now in " + prose.GradeInWords(y)
	}
	t.add(on, service.EventRefinish, text+done)
}

// releaseInWords says why a hold ended without a sale.
var releaseInWords = map[string]string{
	service.ReleasedNoShow: "the buyer did not come", service.ReleasedFellThrough: "the buyer did not take it", service.ReleasedCancelled: "the hold was called off",
}

// offer tells the listing: its asks, pauses, offers, and what was taken back.
func (t *teller) offer() {
	row := t.row
	for i, ask := range row.Asks {
		amount := ask.Amount.Short(t.currency)
		if i == 0 {
			t.listed(ask)
			continue
		}
		before, verb := row.Asks[i-1].Amount, "lowered"
		if ask.Amount > before {
			verb = "raised"
		}
		t.add(ask.On, service.EventAsk, fmt.Sprintf("ask %s from %s to %s", verb, before.Short(t.currency), amount), t.money("ask", ask.Amount))
	}
	for _, p := range row.Pauses {
		isHold := func(e service.Event) bool { return e.Kind == service.EventHold && e.On == p.From }
		if slices.ContainsFunc(t.events, isHold) {
			continue // told below
		}
		if p.To.IsZero() {
			t.add(p.From, service.EventPause, "paused", number("days", max(0, int(t.today-p.From))))
			continue
		}
		t.add(p.From, service.EventPause, "paused until "+p.To.String(), number("days", int(p.To-p.From)))
	}
	for _, e := range t.events {
		switch e.Kind {
		case service.EventOffer:
			text := service.Joined(": ", "offer of "+strings.TrimSuffix(e.Details["amount"], ".00"), e.Details["note"])
			t.add(e.On, service.EventOffer, text, Figure{"amount", e.Details["amount"]})
		case service.EventHold:
			t.add(e.On, service.EventHold, "held for a buyer until "+e.Details["until"])
		case service.EventRelease:
			t.add(e.On, service.EventRelease, "released: "+releaseInWords[e.Details["why"]])
		case service.EventCheck:
			t.add(e.On, service.EventCheck, "done: "+service.LowerFirst(prose.Checks[e.Details["check"]]))
		case service.EventReopened:
			t.add(e.On, service.EventReopened, "taken up again")
		}
	}
	t.interest()
}

func (t *teller) listed(first service.Ask) {
	row, kind := t.row, service.EventListed
	if t.before != nil {
		kind = StoryRelisted
	}
	text := fmt.Sprintf("%s as %s for %s", kind, row.Ref, first.Amount.Short(t.currency))
	if row.IsObserved() {
		text = fmt.Sprintf("seen on offer for %s: %s", first.Amount.Short(t.currency), prose.What(row))
	}
	if row.Venue != "" {
		text += ", " + strings.ReplaceAll(row.Venue, ";", " and")
	}
	if row.Estimate != 0 {
		text += "; own price " + row.Estimate.Short(t.currency)
	}
	t.add(first.On, kind, text, t.money("ask", first.Amount), t.money("own_price", row.Estimate))
}

// interest tells the last reading of an open listing; of an ended one the end
// tells it.
func (t *teller) interest() {
	counts := t.counts()
	if t.row.Outcome != service.OutcomeOpen || counts == "" {
		return
	}
	for _, e := range slices.Backward(t.events) {
		if e.Kind == service.EventInterest {
			t.add(e.On, service.EventInterest, "so far "+counts, t.countFigures()...)
			return
		}
	}
}

func (t *teller) counts() string {
	var parts []string
	for _, c := range []struct {
		n         *int
		one, many string
	}{
		{t.row.Views, "view", "views"}, {t.row.Saves, "save", "saves"}, {t.row.Messages, "message", "messages"}, {t.row.Showings, "showing", "showings"},
	} {
		if c.n != nil {
			parts = append(parts, service.Count(*c.n, c.one, c.many))
		}
	}
	return strings.Join(parts, ", ")
}

func (t *teller) countFigures() []Figure {
	var figures []Figure
	for _, name := range []string{"views", "saves", "messages", "showings"} {
		c, _ := service.ColumnByName(name)
		figures = append(figures, Figure{name, c.Value(t.row, t.currency)})
	}
	return figures
}

// end tells the outcome, and to the owner what the sale cost and what was
// noted.
func (t *teller) end() {
	row := t.row
	if !row.EndedOn.IsZero() {
		facts := row.Facts(t.currency, nil, nil)
		days, active := facts.DaysOnMarket(row.EndedOn), facts.ActiveDays(row.EndedOn)
		text := "pulled"
		if row.Outcome == service.OutcomeSold {
			text = t.sold()
		}
		text += " after " + service.Count(days, "day", "days")
		if active != days {
			text += fmt.Sprintf(" (%d days up)", active)
		}
		if row.SoldVenue != "" {
			text += ", " + row.SoldVenue
		}
		figures := append([]Figure{t.money("sale_price", row.SalePrice), number("days_on_market", days), number("active_days", active)}, t.countFigures()...)
		t.add(row.EndedOn, row.Outcome, service.Joined("; ", text, t.counts()), figures...)
	}
	if row.ClosedAs != "" {
		t.add(row.ClosedOn, row.Left(), service.Joined(": ", leftWords[row.Left()]+reasonWords[row.ClosedAs], row.ClosedNote))
	}
	t.spent("sale", costWords{service.CostDeliveryCharged, "charged for delivery"}, costWords{service.CostDelivery, "spent on delivery"}, costWords{service.CostFees, "for fees"})
	if row.Ledger.Notes != "" {
		on := cmp.Or(row.EndedOn, row.ListedOn)
		if on.IsZero() && len(t.events) > 0 {
			on = t.events[0].On
		}
		t.add(on, StoryNote, row.Ledger.Notes)
	}
}

var (
	leftWords   = map[string]string{service.LeftPassed: "passed over", service.LeftRetired: "let go"}
	reasonWords = map[string]string{
		"price": " for its price", "condition": " for its condition", "space": " for want of space", "gone": ", somebody was quicker",
		"given_away": ", given away", "kept": ", kept", "broken_up": ", broken up for parts", "other": "",
	}
)

func (t *teller) sold() string {
	price, ask := t.row.SalePrice, t.row.CurrentAsk()
	switch price {
	case 0:
		return "sold"
	case ask:
		return "sold for the full " + price.Short(t.currency)
	}
	return fmt.Sprintf("sold for %s of %s asked", price.Short(t.currency), ask.Short(t.currency))
}
