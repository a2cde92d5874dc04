package api

import (
	"time"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service/webhook"
)

// listWebhooks answers with the group's webhooks.
//
//	@Summary	List webhooks
//	@Tags		webhooks
//	@Param		query	query	web.TableQuery	false	"of CSV"
//	@Produce	json,text/csv,application/problem+json
//	@Success	200		{object}	wire.WebhookPage
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks [get]
//	@Router		/v1/webhooks.csv [get]
func (s *Server) listWebhooks(r web.Request, _ web.TableQuery) ([]wire.Webhook, error) {
	found, err := s.app.Webhooks.List(r.Request.Context(), r.Actor)
	return web.Each(found, wire.WebhookResource), err
}

// createWebhook makes a webhook.
//
//	@Summary		Make a webhook
//	@Description	Its secret is shown in this answer only. Messages are signed after the Standard Webhooks specification.
//	@Tags			webhooks
//	@Param			webhook	body		wire.NewWebhook	true	"where, and what is wanted"
//	@Success		201		{object}	wire.CreatedWebhook
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhooks [post]
func (s *Server) createWebhook(r web.Request, in wire.NewWebhook) (out wire.CreatedWebhook, err error) {
	made, secret, err := s.app.Webhooks.Create(r.Request.Context(), r.Actor, webhook.NewWebhook(in))
	if err != nil {
		return out, err
	}
	out = wire.CreatedWebhook{Webhook: wire.WebhookResource(*made), Secret: secret}
	return out, r.ShowOnce(out.Webhook)
}

// createWebhookSample shows what a webhook would be sent.
//
//	@Summary		Make a sample message to test a receiver with
//	@Description	A message about an invented listing: its body and the headers with its signature, made with a secret of yours. Send them to your receiver yourself; nothing is sent or saved.
//	@Tags			webhooks
//	@Param			sample	body		wire.NewWebhookSample	true	"what it tells of, and the secret"
//	@Success		200		{object}	wire.WebhookSample
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhook-samples [post]
func (s *Server) createWebhookSample(r web.Request, in wire.NewWebhookSample) (wire.WebhookSample, error) {
	sample, err := s.app.Webhooks.Sample(r.Actor, in.EventType, in.Secret)
	if err != nil {
		return wire.WebhookSample{}, err
	}
	return wire.WebhookSample(*sample), nil
}

// deleteWebhook removes a webhook.
//
//	@Summary	Delete a webhook
//	@Tags		webhooks
//	@Param		id	path	string	true	"id"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks/{id} [delete]
func (s *Server) deleteWebhook(r web.Request) error {
	return s.app.Webhooks.Delete(r.Request.Context(), r.Actor, r.ID)
}

// testWebhook sends a message that tells of nothing.
//
//	@Summary		Test a webhook
//	@Description	Queues a message webhook.test; its deliveries tell what came of it. A disabled webhook is in service again.
//	@Tags			webhooks
//	@Param			id	path	string	true	"id"
//	@Success		204
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhooks/{id}/deliveries [post]
func (s *Server) testWebhook(r web.Request) error {
	return s.app.Webhooks.Test(r.Request.Context(), r.Actor, r.ID)
}

// listWebhookDeliveries tells what a webhook was told, the latest first.
//
//	@Summary		List a webhook's deliveries
//	@Description	Of the last 30 days. Those about offers are seen by their owner only.
//	@Tags			webhooks
//	@Param			id		path	string					true	"id of the webhook"
//	@Param			query	query	wire.WebhookDeliveryQuery	false	"filters"
//	@Produce		json,text/csv,application/problem+json
//	@Success		200		{object}	wire.WebhookDeliveryPage
//	@Failure		default	{object}	web.Problem	"RFC 9457 problem"
//	@Security		Key
//	@Router			/v1/webhooks/{id}/deliveries [get]
//	@Router			/v1/webhooks/{id}/deliveries.csv [get]
func (s *Server) listWebhookDeliveries(r web.Request, in wire.WebhookDeliveryQuery) ([]wire.WebhookDelivery, *web.Cursor, error) {
	q := webhook.DeliveryQuery{Webhook: r.ID, State: in.State, Limit: in.Limit}
	if k := in.Cursor; len(k.After) == 1 {
		var err error
		q.BeforeID = k.ID
		if q.Before, err = time.Parse(time.RFC3339Nano, k.After[0]); err != nil {
			return nil, nil, web.BadCursor()
		}
	}
	found, more, err := s.app.Webhooks.Deliveries(r.Request.Context(), r.Actor, q)
	if err != nil || !more {
		return web.Each(found, wire.DeliveryOf), nil, err
	}
	last := found[len(found)-1]
	next := &web.Cursor{After: []string{last.CreatedAt.UTC().Format(time.RFC3339Nano)}, ID: last.ID}
	return web.Each(found, wire.DeliveryOf), next, nil
}

// resendWebhookDelivery sends a dead letter again.
//
//	@Summary	Send a failed delivery again
//	@Tags		webhooks
//	@Param		id			path	string	true	"id of the webhook"
//	@Param		delivery_id	path	string	true	"id of the delivery"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks/{id}/deliveries/{delivery_id}/attempts [post]
func (s *Server) resendWebhookDelivery(r web.Request) error {
	delivery, err := web.IDAt(r.Context, "delivery_id")
	if err != nil {
		return err
	}
	return s.app.Webhooks.Resend(r.Request.Context(), r.Actor, r.ID, delivery)
}
