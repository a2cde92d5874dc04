package service

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// The kinds of events. A row, a patch and an event request all end as these.
const (
	EventRecorded   = "recorded"   // a piece not yet offered came on file
	EventBought     = StageBought  //
	EventInWork     = StageInWork  //
	EventPassed     = LeftPassed   // a find was not bought
	EventLetGo      = LeftLetGo    // the piece left without a sale
	EventListed     = "listed"     // the listing began
	EventAsk        = "ask"        // a new asking price
	EventPause      = "pause"      // pauses changed
	EventInterest   = "interest"   // a reading of views, saves, messages, viewings
	EventOffer      = "offer"      // somebody offered an amount; owner-only
	EventHold       = "hold"       // kept for a buyer until a day
	EventRelease    = "release"    // a hold ended without a sale
	EventSold       = "sold"       //
	EventWithdrawn  = "withdrawn"  //
	EventReopened   = "reopened"   // an outcome was taken back
	EventRefinish   = "refinish"   // the look changed: this listing ended for it
	EventCorrection = "correction" // of the description
	EventLedger     = "ledger"     // owner-only columns changed
	EventVoid       = "void"       // another event was undone
)

// These stand for several kinds until it is known which: sold, withdrawn or
// reopened; bought or in_work; passed or let_go.
const (
	outcomeEvent = "outcome"
	stageEvent   = "stage"
	letGoEvent   = "let go"
)

// eventKinds says which kind of event a change of a column is; others are
// corrections.
var eventKinds = map[string]string{
	"asks": EventAsk, "pauses": EventPause,
	"views": EventInterest, "saves": EventInterest, "messages": EventInterest, "viewings": EventInterest,
	"stage": stageEvent, "let_go": letGoEvent, "let_go_on": letGoEvent, "let_go_note": letGoEvent,
	"outcome": outcomeEvent, "ended_on": outcomeEvent, "sale_price": outcomeEvent, "sold_venue": outcomeEvent,
}

// Event is a dated fact about a listing, kept for good.
type Event struct {
	ID        uuid.UUID
	ListingID uuid.UUID
	MemberID  uuid.UUID // who recorded it
	Member    string
	Kind      string
	On        pricing.Date // the group's local day that it speaks of
	At        time.Time    // when it was recorded
	ChangeNo  int64
	Private   bool              // only the listing's owner may see it
	Changes   map[string]Values // by column
	Details   map[string]string // what is no column: the amount of an offer
	// OwnerDetails are laid over Details for the listing's owner; what is read has
	// them there already.
	OwnerDetails map[string]string
	Voids        uuid.UUID // the event that this one undoes
	VoidedBy     uuid.UUID

	Line *CostLine // that comes with the event; not read back
}

// storedDetails reads what is kept of an event. What cannot be read is an error
// that names the event, never zero; the first one stays.
type storedDetails struct {
	event *Event
	err   error
}

func (s *storedDetails) failed(name string, err error) {
	if s.err == nil && err != nil {
		e := s.event
		s.err = fmt.Errorf("event %s (%s on %s): its %s is stored as %q: %w", e.ID, e.Kind, e.On, name, e.Details[name], err)
	}
}

func (s *storedDetails) money(name string, c Currency) Money {
	m, err := ParseMoney(s.event.Details[name], c, '.')
	s.failed(name, err)
	return m
}

func (s *storedDetails) day(name string) pricing.Date {
	day, err := pricing.ParseDate(s.event.Details[name])
	s.failed(name, err)
	return day
}

// Values are a column before and after, in canonical text.
type Values struct {
	Old string `json:"old"`
	New string `json:"new"`
}

// NewEvent asks for an event. Which fields apply depends on the kind.
type NewEvent struct {
	Kind   string
	On     string // empty: today
	Fields map[string]string
	Voids  uuid.UUID
}

// eventFields lists the fields that each kind of event takes; the first
// of them are needed.
var eventFields = map[string]struct {
	needed   []string
	optional []string
}{
	EventBought:    {optional: []string{"purchase_cost", "pickup_cost", "bought_from", "condition_found"}},
	EventInWork:    {},
	EventListed:    {needed: []string{"ask"}, optional: []string{"estimate", "venue", "area"}},
	EventPassed:    {needed: []string{"reason"}, optional: []string{"note", "seller_ask"}},
	EventLetGo:     {needed: []string{"reason"}, optional: []string{"note"}},
	EventAsk:       {needed: []string{"ask"}},
	EventPause:     {optional: []string{"until"}},
	"resume":       {},
	EventInterest:  {optional: []string{"views", "saves", "messages", "viewings"}},
	EventOffer:     {needed: []string{"amount"}, optional: offerFields[1:]},
	EventHold:      {needed: []string{"until"}, optional: []string{"deposit", "offer"}},
	EventRelease:   {needed: []string{"why"}},
	EventSold:      {needed: []string{"sale_price"}, optional: []string{"sold_venue"}},
	EventWithdrawn: {},
	"reopen":       {},
	EventRefinish:  {optional: slices.Concat(lookFields, []string{"ref", "listed_on", "ask", "estimate", "venue"})},
	EventVoid:      {},
}

// EventRequests are the kinds that can be asked for.
var EventRequests = slices.Sorted(maps.Keys(eventFields))

// AddEvent records a fact about a listing and changes the row with it.
func (s *Service) AddEvent(ctx context.Context, a *Actor, listing uuid.UUID, n NewEvent, wantRevision *int64) (*Change, error) {
	if err := n.check(); err != nil {
		return nil, err
	}
	if n.Kind == EventRefinish {
		ended, _, err := s.refinish(ctx, a, n, func(ctx context.Context, w Writer) (*Listing, error) {
			return a.listingToChange(ctx, w, listing, wantRevision)
		})
		return ended, err
	}
	return s.alter(ctx, a, listing, wantRevision, func(ctx context.Context, w Writer, l *Listing) (Cells, changeOptions, *Event, error) {
		on, err := a.eventDay(n.On)
		if err != nil {
			return nil, changeOptions{}, nil, err
		}
		switch {
		case n.Kind == EventVoid:
			return a.undo(ctx, w, l, n.Voids, on)
		case n.Kind == "reopen" && l.LetGo != "", slices.Contains(yardEvents, n.Kind):
			if err := isNewest(ctx, w, l); err != nil {
				return nil, changeOptions{}, nil, err
			}
			return a.yardFact(l, n, on)
		}
		events, err := w.Events(ctx, l.ID)
		if err != nil {
			return nil, changeOptions{}, nil, err
		}
		return a.fact(l, n, on, events)
	})
}

func (n *NewEvent) check() error {
	fields, known := eventFields[n.Kind]
	if !known {
		return Invalid("kind", "%q is not one of %s", clip(n.Kind), strings.Join(EventRequests, ", "))
	}
	for _, name := range fields.needed {
		if strings.TrimSpace(n.Fields[name]) == "" {
			return Invalid(name, "is missing for the event %s", n.Kind)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(n.Fields)) {
		if !slices.Contains(fields.needed, name) && !slices.Contains(fields.optional, name) {
			return Invalid(name, "is not a field of the event %s", n.Kind)
		}
	}
	if (n.Kind == EventVoid) != (n.Voids != uuid.Nil) {
		return Invalid("voids", "names the event to undo, with the kind void")
	}
	return nil
}

func (a *Actor) eventDay(on string) (pricing.Date, error) {
	if on == "" {
		return a.Today, nil
	}
	day, err := a.Reader().date(on)
	if err != nil {
		return 0, Invalid("on", "%v", err)
	}
	return day, nil
}

// fact turns an event into cells of the row; events are those so far.
func (a *Actor) fact(l *Listing, n NewEvent, on pricing.Date, events []Event) (Cells, changeOptions, *Event, error) {
	none := changeOptions{}
	event := &Event{Kind: n.Kind, On: on}
	if !l.IsOffered() {
		return nil, none, nil, refuse(ErrConflict, "%s is not offered yet: give it listed_on and ask first", l.Ref)
	}
	if ended := l.Outcome != OutcomeOpen; ended != (n.Kind == "reopen") {
		if ended {
			return nil, none, nil, refuse(ErrConflict, "%s ended on %s as %s; reopen it first", l.Ref, l.EndedOn, l.Outcome)
		}
		return nil, none, nil, refuse(ErrConflict, "%s is open already", l.Ref)
	}
	if on < l.ListedOn {
		return nil, none, nil, Invalid("on", "%s is before %s was listed on %s", on, l.Ref, l.ListedOn)
	}
	switch n.Kind {
	case EventAsk:
		asks, err := a.asksWith(l, n.Fields["ask"], on)
		return nil, applying(func(d *draft) { d.asks = asks }), event, err
	case EventPause:
		return nil, changeOptions{apply: func(d *draft) *InvalidError {
			p, err := d.reader.interval(on, cmp.Or(strings.TrimSpace(n.Fields["until"]), ".."))
			if err != nil {
				return Invalid("pauses", "%v", err)
			}
			d.setPauses(append(d.Pauses, p))
			return nil
		}}, event, nil
	case "resume":
		h, err := heldIn(l, events)
		if err != nil {
			return nil, none, nil, err
		}
		if h != nil && h.On <= on && !h.isOver(on) {
			return nil, none, nil, refuse(ErrConflict, "%s is held for a buyer until %s; release it and say why", l.Ref, h.Until)
		}
		event.Kind = EventPause
		return nil, applying(func(d *draft) { d.resumedOn = on }), event, nil
	case EventInterest:
		return Cells(n.Fields), none, event, nil
	case EventOffer:
		return nil, none, event, a.offer(l, n, event)
	case EventHold:
		return a.hold(l, n, on, events)
	case EventRelease:
		return a.release(l, n, on, events)
	case EventSold:
		return Cells(n.Fields), ending(OutcomeSold, on), event, nil
	case EventWithdrawn:
		return nil, ending(OutcomeWithdrawn, on), event, nil
	default: // reopen
		event.Kind = EventReopened
		o := applying(func(d *draft) { d.Outcome, d.EndedOn, d.SalePrice, d.SoldVenue = OutcomeOpen, 0, 0, "" })
		o.reopens = true
		return nil, o, event, nil
	}
}

// applying changes values that need no check of their own.
func applying(set func(d *draft)) changeOptions {
	return changeOptions{apply: func(d *draft) *InvalidError { set(d); return nil }}
}

func ending(outcome string, on pricing.Date) changeOptions {
	return applying(func(d *draft) { d.Outcome, d.EndedOn = outcome, on })
}

// asksWith is the history of asks with one more, or with that day's replaced.
func (a *Actor) asksWith(l *Listing, ask string, on pricing.Date) ([]Ask, error) {
	amount, err := a.Reader().positiveMoney(strings.TrimSpace(ask))
	if err != nil {
		return nil, Invalid("ask", "%v", err)
	}
	asks := slices.DeleteFunc(slices.Clone(l.Asks), func(x Ask) bool { return x.On == on })
	asks = append(asks, Ask{On: on, Amount: amount})
	slices.SortFunc(asks, func(x, y Ask) int { return int(x.On - y.On) })
	return asks, nil
}

// undo gives the columns that an event changed their values from before, if
// nothing changed them since.
func (a *Actor) undo(ctx context.Context, w Writer, l *Listing, id uuid.UUID, on pricing.Date) (Cells, changeOptions, *Event, error) {
	none := changeOptions{}
	e, err := w.Event(ctx, id)
	if isNotFound(err) || (err == nil && e.ListingID != l.ID) {
		return nil, none, nil, refuse(ErrNotFound, "%s has no event with the id %s", l.Ref, id)
	}
	if err != nil {
		return nil, none, nil, err
	}
	switch {
	case e.VoidedBy != uuid.Nil:
		return nil, none, nil, refuse(ErrConflict, "that event was undone already")
	case e.Kind == EventVoid:
		return nil, none, nil, refuse(ErrConflict, "that event undid another one; record the fact again instead")
	case e.Kind == EventListed || e.Kind == EventRecorded:
		return nil, none, nil, refuse(ErrConflict, "that event put %s on file; delete the row instead", l.Ref)
	case e.Details[eventCostLine] != "":
		return nil, none, nil, refuse(ErrConflict, "that event is a cost line of the piece; undo the line %s instead", e.Details[eventCostLine])
	}
	if e.Kind == EventRefinish {
		if err := isNewest(ctx, w, l); err != nil {
			return nil, none, nil, err
		}
	}
	cells := Cells{}
	for name, v := range e.Changes {
		c, ok := ColumnByName(name)
		if !ok || c.recorded(l, a.Group.Currency) != v.New {
			return nil, none, nil, refuse(ErrConflict, "%s changed again since that event; undo the later event first", name)
		}
		cells[name] = v.Old
	}
	event := &Event{Kind: EventVoid, On: on, Voids: e.ID, Private: e.Private}
	return cells, changeOptions{reopens: true, clearsBlanks: true}, event, nil
}
