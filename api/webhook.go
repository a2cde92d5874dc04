package api

import (
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/service"
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
}

// CreatedWebhook is a new webhook with the secret of its signatures, which is
// shown this once.
type CreatedWebhook struct {
	Webhook
	Secret string `json:"secret" example:"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"`
}

// NewWebhook asks for a webhook.
type NewWebhook struct {
	URL    string   `json:"url" example:"https://example.org/hook"` // https, at a public address
	Label  string   `json:"label" example:"the group's chat"`
	Events []string `json:"events" enums:"listing.slow,listing.stale,listing.sold,offer.recorded"` // default: all
}

func webhookResource(w webhook.Webhook) Webhook {
	return Webhook{
		ID: w.ID, MemberID: w.MemberID, Member: w.Member, URL: w.URL, Label: w.Label, Events: w.Events, CreatedAt: w.CreatedAt.UTC(),
		FailingSince: optionalTime(w.FailingSince), DisabledAt: optionalTime(w.DisabledAt), Note: w.Note,
	}
}

var webhookColumns = columnsOf[Webhook](`
	id member url label events created_at failing_since disabled_at note`)

// listWebhooks answers with the group's webhooks.
//
//	@Summary	List webhooks
//	@Tags		webhooks
//	@Param		query	query	TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	WebhookPage
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks [get]
//	@Router		/v1/webhooks.csv [get]
func (s *Server) listWebhooks(c *gin.Context, a *service.Actor) error {
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	options := csvParams(p, form, columnNames(webhookColumns))
	if err := p.done(); err != nil {
		return err
	}
	found, err := s.service.Webhooks.List(c.Request.Context(), a)
	if err != nil {
		return err
	}
	items := each(found, webhookResource)
	if form == formCSV {
		return writeTable(c, "webhooks.csv", webhookColumns, options, items)
	}
	return answerTagged(c, WebhookPage{Items: items})
}

// createWebhook makes a webhook.
//
//	@Summary		Make a webhook
//	@Description	Its secret is shown in this answer only. Messages are signed after the Standard Webhooks specification.
//	@Tags			webhooks
//	@Param			webhook	body		NewWebhook	true	"where, and what is wanted"
//	@Success		201		{object}	CreatedWebhook
//	@Failure		default	{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhooks [post]
func (s *Server) createWebhook(c *gin.Context, a *service.Actor) error {
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	var body NewWebhook
	if err := readJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	made, secret, err := s.service.Webhooks.Create(c.Request.Context(), a, webhook.NewWebhook{URL: body.URL, Label: body.Label, Events: body.Events})
	if err != nil {
		return withPointers(err)
	}
	kept, err := json.Marshal(webhookResource(*made))
	if err != nil {
		return err
	}
	c.Set(withoutSecretKey, kept)
	c.Header("Cache-Control", "no-store")
	return answer(c, http.StatusCreated, CreatedWebhook{Webhook: webhookResource(*made), Secret: secret})
}

// deleteWebhook removes a webhook.
//
//	@Summary	Delete a webhook
//	@Tags		webhooks
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks/{id} [delete]
func (s *Server) deleteWebhook(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	if err := s.service.Webhooks.Delete(c.Request.Context(), a, id); err != nil {
		return err
	}
	return noContent(c)
}

// testWebhook sends a message that tells of nothing.
//
//	@Summary		Test a webhook
//	@Description	Queues a message webhook.test; its deliveries tell what came of it. A disabled webhook is in service again.
//	@Tags			webhooks
//	@Param			id	path	string	true	"id"
//	@Success		204
//	@Failure		default	{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhooks/{id}/test [post]
func (s *Server) testWebhook(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	if err := s.service.Webhooks.Test(c.Request.Context(), a, id); err != nil {
		return err
	}
	return noContent(c)
}

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
}

// WebhookDeliveryPage is a page of deliveries, the latest first.
type WebhookDeliveryPage struct {
	Items []WebhookDelivery `json:"items"`
	Next  string            `json:"next,omitempty"` // cursor of the next page
}

func webhookDelivery(d webhook.Delivery) WebhookDelivery {
	out := WebhookDelivery{
		ID: d.ID, Event: d.Event, CreatedAt: d.CreatedAt.UTC(), State: d.State(), Attempts: d.Attempts, TriedAt: optionalTime(d.TriedAt),
		NextAt: optionalTime(d.NextAt), DeliveredAt: optionalTime(d.DeliveredAt), Status: d.Status, Error: d.Error,
	}
	if d.ListingID != uuid.Nil {
		out.ListingID = &d.ListingID
	}
	return out
}

var webhookDeliveryColumns = columnsOf[WebhookDelivery](`
	id event listing_id created_at state attempts tried_at next_at delivered_at status error`)

// WebhookDeliveryQuery is what a list of deliveries can be asked for.
type WebhookDeliveryQuery struct {
	State  string `form:"state" enums:"pending,delivered,failed"`
	Limit  int    `form:"limit" default:"100" cap:"1000"` // at most 1000; without it a CSV holds all
	Cursor string `form:"cursor"`                         // from next
	TableQuery
}

// listWebhookDeliveries tells what a webhook was told, the latest first.
//
//	@Summary		List a webhook's deliveries
//	@Description	Of the last 30 days. Those about offers are seen by their owner only.
//	@Tags			webhooks
//	@Param			id		path	string					true	"id of the webhook"
//	@Param			query	query	WebhookDeliveryQuery	false	"filters"
//	@Produce		json,text/csv,application/problem+json
//	@Success		200		{object}	WebhookDeliveryPage
//	@Failure		default	{object}	Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhooks/{id}/deliveries [get]
//	@Router			/v1/webhooks/{id}/deliveries.csv [get]
func (s *Server) listWebhookDeliveries(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	form, err := wantedForm(c)
	if err != nil {
		return err
	}
	p := paramsOf(c)
	var in WebhookDeliveryQuery
	bindQuery(p, &in)
	q := webhook.DeliveryQuery{Webhook: id, State: in.State, Limit: in.Limit}
	if k := decodeCursor(c, p); k != nil && len(k.After) == 1 {
		q.BeforeID = k.ID
		if q.Before, err = time.Parse(time.RFC3339Nano, k.After[0]); err != nil {
			p.refuse("cursor", "belongs to no page of this list; start again without it")
		}
	}
	options := csvParams(p, form, columnNames(webhookDeliveryColumns))
	if err := p.done(); err != nil {
		return err
	}
	if form == formCSV && !p.values.Has("limit") {
		q.Limit = 0
	}
	found, more, err := s.service.Webhooks.Deliveries(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	out := WebhookDeliveryPage{Items: each(found, webhookDelivery)}
	if more {
		last := found[len(found)-1]
		out.Next = cursor{After: []string{last.CreatedAt.UTC().Format(time.RFC3339Nano)}, ID: last.ID}.encode(c)
		linkNext(c, out.Next)
	}
	if form == formCSV {
		return writeTable(c, "deliveries.csv", webhookDeliveryColumns, options, out.Items)
	}
	return answerTagged(c, out)
}

// resendWebhookDelivery sends a dead letter again.
//
//	@Summary	Send a failed delivery again
//	@Tags		webhooks
//	@Param		id			path	string	true	"id of the webhook"
//	@Param		delivery	path	string	true	"id of the delivery"
//	@Success	204
//	@Failure	default	{object}	Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks/{id}/deliveries/{delivery}/resend [post]
func (s *Server) resendWebhookDelivery(c *gin.Context, a *service.Actor) error {
	id, err := pathID(c)
	if err != nil {
		return err
	}
	delivery, err := parseID(c.Param("delivery"))
	if err != nil {
		return refuse(notFound, "there is nothing with the id %q", clip(c.Param("delivery"), 60))
	}
	if err := paramsOf(c).done(); err != nil {
		return err
	}
	if err := s.service.Webhooks.Resend(c.Request.Context(), a, id, delivery); err != nil {
		return err
	}
	return noContent(c)
}
