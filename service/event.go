package service

import (
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
	EventOnBench    = StageOnBench //
	EventPassed     = LeftPassed   // a find was not bought
	EventRetired    = LeftRetired  // the piece left without a sale
	EventListed     = "listed"     // the listing began
	EventAsk        = "ask"        // a new asking price
	EventPause      = "pause"      // pauses changed
	EventInterest   = "interest"   // a reading of views, saves, messages, showings
	EventOffer      = "offer"      // somebody offered an amount; owner-only
	EventAnswer     = "answer"     // what the owner said to an offer; owner-only
	EventHold       = "hold"       // kept for a buyer until a day
	EventRelease    = "release"    // a hold ended without a sale
	EventCheck      = "check"      // a cheap thing to try first was done
	EventSold       = "sold"       //
	EventPulled     = "pulled"     //
	EventReopened   = "reopened"   // an outcome was taken back
	EventRefinish   = "refinish"   // the look changed: this listing ended for it
	EventCorrection = "correction" // of the description
	EventLedger     = "ledger"     // owner-only columns changed
	EventVoid       = "void"       // another event was undone
)

// These stand for several kinds until it is known which: sold, pulled or
// reopened; bought or on_bench; passed or retired.
const (
	outcomeEvent = "outcome"
	stageEvent   = "stage"
	letGoEvent   = "let go"
)

// eventKinds says which kind of event a change of a column is; others are
// corrections.
var eventKinds = map[string]string{
	"ask_history": EventAsk, "pauses": EventPause,
	"views": EventInterest, "saves": EventInterest, "messages": EventInterest, "showings": EventInterest,
	"stage": stageEvent, "closed_as": letGoEvent, "closed_on": letGoEvent, "closed_note": letGoEvent,
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
	EventBought:   {optional: []string{"purchase_cost", "pickup_cost", "bought_from", "condition_found"}},
	EventOnBench:  {},
	EventListed:   {needed: []string{"ask"}, optional: []string{"own_price", "venues", "area"}},
	EventPassed:   {needed: []string{"reason"}, optional: []string{"note", "seller_ask"}},
	EventRetired:  {needed: []string{"reason"}, optional: []string{"note"}},
	EventAsk:      {needed: []string{"ask"}},
	EventPause:    {optional: []string{"until"}},
	"resume":      {},
	EventInterest: {optional: []string{"views", "saves", "messages", "showings"}},
	EventOffer:    {needed: []string{"amount"}, optional: offerFields[1:]},
	EventAnswer:   {needed: []string{"offer", "answer"}, optional: []string{"amount"}},
	EventHold:     {needed: []string{"until"}, optional: []string{"deposit", "offer"}},
	EventRelease:  {needed: []string{"why"}},
	EventCheck:    {needed: []string{"check"}},
	EventSold:     {needed: []string{"sale_price"}, optional: []string{"sold_venue"}},
	EventPulled:   {},
	"reopen":      {},
	EventRefinish: {optional: slices.Concat(LookFields, []string{"ref", "listed_on", "ask", "own_price", "venues"})},
	EventVoid:     {},
}

// EventRequests are the kinds that can be asked for.
var EventRequests = slices.Sorted(maps.Keys(eventFields))

// Check refuses an event that lacks a field or has one of another kind.
func (n *NewEvent) Check() error {
	fields, known := eventFields[n.Kind]
	if !known {
		return Invalid("kind", "%v", NotAllowed(n.Kind, EventRequests))
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

// Applying changes values that need no check of their own.
func Applying(set func(d *Draft)) ChangeOptions {
	return ChangeOptions{Apply: func(d *Draft) *InvalidError { set(d); return nil }}
}

// Ending ends a listing on a day with an outcome.
func Ending(outcome string, on pricing.Date) ChangeOptions {
	return Applying(func(d *Draft) { d.Outcome, d.EndedOn = outcome, on })
}
