package service

import (
	"encoding/json"
	"time"

	"github.com/google/uuid"

	"askwright/pricing"
)

// StateEnded is the noted state of a listing that is no longer open.
const StateEnded = "ended"

// ListingState is the state in which a listing was last noted.
type ListingState struct {
	ListingID uuid.UUID
	State     string // one of ListingStates, or StateEnded
	Action    string // what was to do next by then
	Step      KeptStep
	Since     time.Time
	UpdatedAt time.Time // when the state or the action was noted
}

// KeptStep is what was told of the next step of a listing's plan.
type KeptStep struct {
	From       Money        // the ask by then; zero: there is no plan
	AtAge      float64      // active days at which it falls due
	To         Money        // zero: the ask stays
	ChecksFrom pricing.Date // zero: no checks come before it
	IsDue      bool         // the listing was stale by then
}

// StepOf is what a review keeps.
func StepOf(k pricing.Kept, c Currency) KeptStep {
	return KeptStep{MoneyOf(k.Ask, c), k.AtAge, MoneyOf(k.NextAsk, c), k.Checked, k.Flagged}
}

// Kept is what a review goes on with; nil: nothing.
func (s KeptStep) Kept(c Currency) *pricing.Kept {
	if s.From == 0 {
		return nil
	}
	return &pricing.Kept{Ask: s.From.Major(c), AtAge: s.AtAge, NextAsk: s.To.Major(c), Checked: s.ChecksFrom, Flagged: s.IsDue}
}

// Notice is what endpoints are told. It is queued for each endpoint that asked
// for its event, in the transaction of what it tells of.
type Notice struct {
	Event     string
	ListingID uuid.UUID
	Owner     uuid.UUID // who alone may be told; zero: everybody in the group
	At        time.Time
	Payload   []byte
	Since     time.Time // not told if the listing's last message of this event is later; zero: told
}

// payload is the body of a message as the specification recommends it.
type payload struct {
	Type      string `json:"type"`
	Timestamp string `json:"timestamp"` // of what it tells of
	Data      any    `json:"data"`
}

// ListingNews is the data of all messages about listings.
type ListingNews struct {
	ListingID  uuid.UUID   `json:"listing_id"`
	Ref        string      `json:"ref"`
	Member     string      `json:"member"`
	Category   string      `json:"category"`
	Ask        json.Number `json:"ask,omitempty"`
	Currency   string      `json:"currency"`
	State      string      `json:"state,omitempty"`
	Action     string      `json:"action,omitempty"`
	ActiveDays *int        `json:"active_days,omitempty"`
	SalePrice  json.Number `json:"sale_price,omitempty"`
	EndedOn    string      `json:"ended_on,omitempty"`
	Amount     json.Number `json:"amount,omitempty"`
	On         string      `json:"on,omitempty"`
}

// NewNotice is the message about an event, with its data.
func NewNotice(event string, at time.Time, listing uuid.UUID, data any) Notice {
	// These are structs of text and numbers, which always can be written.
	text, _ := json.Marshal(payload{Type: event, Timestamp: at.UTC().Format(time.RFC3339), Data: data})
	return Notice{Event: event, ListingID: listing, At: at, Payload: text}
}

// NewsOf is what all messages tell of a listing.
func NewsOf(a *Actor, l *Listing, ask Money) ListingNews {
	c := a.Group.Currency
	n := ListingNews{ListingID: l.ID, Ref: l.Ref, Member: l.Member, Category: l.Category, Currency: c.Code}
	if ask != 0 {
		n.Ask = json.Number(ask.Format(c))
	}
	return n
}

// How old news may be, in days.
const (
	saleNewsDays   = 7 // a sale of longer ago was recorded, but did not happen just now
	StateQuietDays = 7 // a listing that goes in and out of a state; a new ask is given as long before it counts
)

// NoticesOf are what a change is told as.
func NoticesOf(a *Actor, c *Change) (out []Notice, err error) {
	l := c.New
	if l.IsObserved() {
		return nil, nil
	}
	digits := a.Group.Currency
	isSold := l.Outcome == OutcomeSold && (c.Old == nil || c.Old.Outcome != OutcomeSold)
	if isSold && l.EndedOn > a.Today-saleNewsDays {
		n := NewsOf(a, l, l.CurrentAsk())
		n.SalePrice, n.EndedOn = json.Number(l.SalePrice.Format(digits)), l.EndedOn.String()
		out = append(out, NewNotice(WebhookSold, a.Now, l.ID, n))
	}
	for i := range c.Events {
		if e := &c.Events[i]; e.Kind == EventOffer {
			o, err := OfferOf(a, l, e)
			if err != nil {
				return nil, err
			}
			n := NewsOf(a, l, o.Ask)
			n.Amount, n.On = json.Number(o.Amount.Format(digits)), o.On.String()
			m := NewNotice(WebhookOffer, a.Now, l.ID, n)
			m.Owner = l.MemberID
			out = append(out, m)
		}
	}
	return out, nil
}

// The events that endpoints can be told of.
const (
	WebhookSlow  = "listing.slow"
	WebhookStale = "listing.stale"
	WebhookSold  = "listing.sold"
	WebhookOffer = "offer.recorded" // told to the owner of the listing alone
)
