package api

import (
	"encoding/json"
	"net/http"
	"time"

	"github.com/gin-gonic/gin"

	"askwright/api/web"
	"askwright/api/wire"
	"askwright/service"
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
func (s *Server) listWebhooks(c *gin.Context, a *service.Actor) error {
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	options := web.CsvParams(p, form, web.ColumnNames(wire.WebhookColumns))
	if err := p.Done(); err != nil {
		return err
	}
	found, err := s.app.Webhooks.List(c.Request.Context(), a)
	if err != nil {
		return err
	}
	items := web.Each(found, wire.WebhookResource)
	if form == web.FormCSV {
		return web.WriteTable(c, "webhooks.csv", wire.WebhookColumns, options, items)
	}
	return web.AnswerTagged(c, wire.WebhookPage{Items: items})
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
func (s *Server) createWebhook(c *gin.Context, a *service.Actor) error {
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	var body wire.NewWebhook
	if err := web.ReadJSON(c, s.limits.BodyBytes, &body); err != nil {
		return err
	}
	made, secret, err := s.app.Webhooks.Create(c.Request.Context(), a, webhook.NewWebhook{URL: body.URL, Label: body.Label, Events: body.Events})
	if err != nil {
		return web.WithPointers(err)
	}
	kept, err := json.Marshal(wire.WebhookResource(*made))
	if err != nil {
		return err
	}
	c.Set(web.WithoutSecretKey, kept)
	c.Header("Cache-Control", "no-store")
	return web.Answer(c, http.StatusCreated, wire.CreatedWebhook{Webhook: wire.WebhookResource(*made), Secret: secret})
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
func (s *Server) deleteWebhook(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if err := s.app.Webhooks.Delete(c.Request.Context(), a, id); err != nil {
		return err
	}
	return web.NoContent(c)
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
//	@Router			/v1/webhooks/{id}/test [post]
func (s *Server) testWebhook(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if err := s.app.Webhooks.Test(c.Request.Context(), a, id); err != nil {
		return err
	}
	return web.NoContent(c)
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
func (s *Server) listWebhookDeliveries(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	form, err := web.WantedForm(c)
	if err != nil {
		return err
	}
	p := web.ParamsOf(c)
	var in wire.WebhookDeliveryQuery
	web.BindQuery(p, &in)
	q := webhook.DeliveryQuery{Webhook: id, State: in.State, Limit: in.Limit}
	if k := web.DecodeCursor(c, p); k != nil && len(k.After) == 1 {
		q.BeforeID = k.ID
		if q.Before, err = time.Parse(time.RFC3339Nano, k.After[0]); err != nil {
			p.Refuse("cursor", "belongs to no page of this list; start again without it")
		}
	}
	options := web.CsvParams(p, form, web.ColumnNames(wire.WebhookDeliveryColumns))
	if err := p.Done(); err != nil {
		return err
	}
	if form == web.FormCSV && !p.Values.Has("limit") {
		q.Limit = 0
	}
	found, more, err := s.app.Webhooks.Deliveries(c.Request.Context(), a, q)
	if err != nil {
		return err
	}
	out := wire.WebhookDeliveryPage{Items: web.Each(found, wire.DeliveryOf)}
	if more {
		last := found[len(found)-1]
		out.Next = web.Cursor{After: []string{last.CreatedAt.UTC().Format(time.RFC3339Nano)}, ID: last.ID}.Encode(c)
		web.LinkNext(c, out.Next)
	}
	if form == web.FormCSV {
		return web.WriteTable(c, "deliveries.csv", wire.WebhookDeliveryColumns, options, out.Items)
	}
	return web.AnswerTagged(c, out)
}

// resendWebhookDelivery sends a dead letter again.
//
//	@Summary	Send a failed delivery again
//	@Tags		webhooks
//	@Param		id			path	string	true	"id of the webhook"
//	@Param		delivery	path	string	true	"id of the delivery"
//	@Success	204
//	@Failure	default	{object}	web.Problem	"RFC 9457 problem"
//	@Security	Key
//	@Router		/v1/webhooks/{id}/deliveries/{delivery}/resend [post]
func (s *Server) resendWebhookDelivery(c *gin.Context, a *service.Actor) error {
	id, err := web.PathID(c)
	if err != nil {
		return err
	}
	delivery, err := web.ParseID(c.Param("delivery"))
	if err != nil {
		return web.Refuse(web.NotFound, "there is nothing with the id %q", web.Clip(c.Param("delivery"), 60))
	}
	if err := web.ParamsOf(c).Done(); err != nil {
		return err
	}
	if err := s.app.Webhooks.Resend(c.Request.Context(), a, id, delivery); err != nil {
		return err
	}
	return web.NoContent(c)
}
