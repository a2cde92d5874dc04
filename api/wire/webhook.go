package wire

import (
	"time"

	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service/webhook"
)

// Webhook is an endpoint that is told what happens.
type Webhook struct {
	ID           uuid.UUID  `json:"id" format:"uuid"`
	MemberID     uuid.UUID  `json:"member_id" format:"uuid"` // who made it
	Member       string     `json:"member"`
	URL          string     `json:"url" example:"https://example.org/hook"`
	Label        string     `json:"label"`
	Events       []string   `json:"events" enums:"listing.slow,listing.stale,listing.sold,offer.recorded"`
	CreatedAt    time.Time  `json:"created_at" format:"date-time"`
	FailingSince *time.Time `json:"failing_since,omitempty" format:"date-time"` // the first failure after the last success
	DisabledAt   *time.Time `json:"disabled_at,omitempty" format:"date-time"`   // nothing is sent there any more
	Note         string     `json:"note,omitempty"`                             // why it was disabled
}

// WebhookPage is the group's webhooks.
type WebhookPage struct {
	Items []Webhook `json:"items"`
	Next  *string   `json:"next"` // null: the list is whole
}

// CreatedWebhook is a new webhook with the secret of its signatures, which is
// shown this once.
type CreatedWebhook struct {
	Webhook
	Secret string `json:"secret,omitempty" example:"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"` // shown once: not in the answer to a repeat
}

// NewWebhook asks for a webhook.
type NewWebhook struct {
	URL    string   `json:"url" example:"https://example.org/hook"` // https, at a public address
	Label  string   `json:"label" example:"the group's chat"`
	Events []string `json:"events" enums:"listing.slow,listing.stale,listing.sold,offer.recorded"` // default: all
}

// NewWebhookSample asks for a sample message.
type NewWebhookSample struct {
	EventType string `json:"event_type" enums:"listing.slow,listing.stale,listing.sold,offer.recorded,webhook.test"`
	Secret    string `json:"secret" example:"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"` // of a webhook, or one made up alike
}

// WebhookSample is a message as it would be sent.
type WebhookSample struct {
	Headers map[string]string `json:"headers"` // webhook-id, webhook-timestamp, webhook-signature
	Body    string            `json:"body"`    // to be sent as it is: these bytes are signed
}

// WebhookResource shows a webhook without its secret.
func WebhookResource(w webhook.Webhook) Webhook {
	return Webhook{
		ID: w.ID, MemberID: w.MemberID, Member: w.Member, URL: w.URL, Label: w.Label, Events: w.Events, CreatedAt: w.CreatedAt.UTC(),
		FailingSince: optionalTime(w.FailingSince), DisabledAt: optionalTime(w.DisabledAt), Note: w.Note,
	}
}

// WebhookColumns are the columns of webhooks.
var WebhookColumns = web.ColumnsOf[Webhook](`
	id member url label events created_at failing_since disabled_at note`)

// WebhookDelivery is a message to a webhook, with what came of it.
type WebhookDelivery struct {
	ID          uuid.UUID  `json:"id" format:"uuid"` // sent as webhook-id, the same each time
	Event       string     `json:"event" example:"listing.stale" csv:"plain"`
	ListingID   *uuid.UUID `json:"listing_id,omitempty" format:"uuid"`
	CreatedAt   time.Time  `json:"created_at" format:"date-time"`
	State       string     `json:"state" enums:"pending,delivered,failed"`
	Attempts    int        `json:"attempts"`
	TriedAt     *time.Time `json:"tried_at,omitempty" format:"date-time"`
	NextAt      *time.Time `json:"next_at,omitempty" format:"date-time"` // of a pending one: when it is tried next
	DeliveredAt *time.Time `json:"delivered_at,omitempty" format:"date-time"`
	Status      int        `json:"status,omitempty" example:"503"` // HTTP status of the last answer
	Error       string     `json:"error,omitempty"`                // of the last attempt
	Payload     string     `json:"payload"`                        // the body that is sent
}

// WebhookDeliveryPage is a page of deliveries, the latest first.
type WebhookDeliveryPage struct {
	Items []WebhookDelivery `json:"items"`
	Next  *string           `json:"next"` // the cursor of the next page; null: this was the last
}

// DeliveryOf shows a delivery.
func DeliveryOf(d webhook.Delivery) WebhookDelivery {
	out := WebhookDelivery{
		ID: d.ID, Event: d.Event, CreatedAt: d.CreatedAt.UTC(), State: d.State(), Attempts: d.Attempts, TriedAt: optionalTime(d.TriedAt),
		NextAt: optionalTime(d.NextAt), DeliveredAt: optionalTime(d.DeliveredAt), Status: d.Status, Error: d.Error, Payload: d.Payload,
	}
	if d.ListingID != uuid.Nil {
		out.ListingID = &d.ListingID
	}
	return out
}

// WebhookDeliveryColumns are the columns of deliveries.
var WebhookDeliveryColumns = web.ColumnsOf[WebhookDelivery](`
	id event listing_id created_at state attempts tried_at next_at delivered_at status error payload`)

// WebhookDeliveryQuery is what a list of deliveries can be asked for.
type WebhookDeliveryQuery struct {
	State string `form:"state" enums:"pending,delivered,failed"`
	web.PageQuery
}
