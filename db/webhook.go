package db

import (
	"context"
	"time"

	"github.com/google/uuid"

	"askwright/service"
	"askwright/service/webhook"
)

// CreateWebhook keeps an endpoint. The audit has no address: it may hold a
// token.
func (s *Store) CreateWebhook(ctx context.Context, t service.Tenant, w webhook.Webhook) error {
	return s.write(ctx, t, func(tx *writer) error {
		if err := tx.exec(ctx, `insert into webhook (group_id, webhook_id, member_id, url, label, events, secret, created_at)
			values ($1, $2, $3, $4, $5, $6, $7, $8)`, t.Group, w.ID, w.MemberID, w.URL, w.Label, w.Events, w.Secret, w.CreatedAt); err != nil {
			return err
		}
		return tx.audit(ctx, "webhook created", w.ID, uuid.Nil, map[string]any{"label": w.Label, "events": w.Events})
	})
}

var webhookFields = []field[webhook.Webhook]{
	{"w.webhook_id", func(w *webhook.Webhook) any { return &w.ID }},
	{"w.member_id", func(w *webhook.Webhook) any { return &w.MemberID }},
	{"m.name", func(w *webhook.Webhook) any { return &w.Member }},
	{"w.url", func(w *webhook.Webhook) any { return &w.URL }},
	{"w.label", func(w *webhook.Webhook) any { return &w.Label }},
	{"w.events", func(w *webhook.Webhook) any { return &w.Events }},
	{"w.secret", func(w *webhook.Webhook) any { return &w.Secret }},
	{"w.created_at", func(w *webhook.Webhook) any { return &w.CreatedAt }},
	{"w.failing_since", func(w *webhook.Webhook) any { return blank(&w.FailingSince) }},
	{"w.disabled_at", func(w *webhook.Webhook) any { return blank(&w.DisabledAt) }},
	{"w.note", func(w *webhook.Webhook) any { return &w.Note }},
}

// Webhooks lists the group's endpoints.
func (s *Store) Webhooks(ctx context.Context, t service.Tenant) ([]webhook.Webhook, error) {
	var found []webhook.Webhook
	err := s.run(ctx, t, statement{
		sql: "select " + expressions(webhookFields) + ` from webhook w join member m using (group_id, member_id)
			where w.group_id = $1 order by w.created_at, w.webhook_id`,
		args: []any{t.Group}, read: collect(&found, webhookFields),
	})
	return found, err
}

// DeleteWebhook removes an endpoint with its deliveries.
func (s *Store) DeleteWebhook(ctx context.Context, t service.Tenant, id uuid.UUID) error {
	return s.write(ctx, t, func(w *writer) error {
		if err := w.execOne(ctx, "delete from webhook where group_id = $1 and webhook_id = $2", t.Group, id); err != nil {
			return err
		}
		return w.audit(ctx, "webhook deleted", id, uuid.Nil, nil)
	})
}

// noticeColumns are those of a delivery that has not been tried.
const noticeColumns = "insert into webhook_delivery (group_id, delivery_id, webhook_id, owner_id, listing_id, event, payload, created_at, next_at) "

// queueNotice is the statement that queues a message for each endpoint that
// asked for its event.
func queueNotice(group uuid.UUID, m service.Notice) statement {
	return statement{
		sql: noticeColumns + `select $1, gen_random_uuid(), w.webhook_id, $2, $3, $4, $5, $6, $6 from webhook w
			where w.group_id = $1 and w.disabled_at is null and $4 = any (w.events) and ($2::uuid is null or w.member_id = $2)
			and not exists (select from webhook_delivery d where d.group_id = $1 and d.webhook_id = w.webhook_id
				and d.listing_id = $3 and d.event = $4 and d.created_at > $7)`,
		args: []any{group, unlessZero(m.Owner), unlessZero(m.ListingID), m.Event, string(m.Payload), m.At, unlessZero(m.Since)},
	}
}

// RestoreWebhook takes an endpoint into service and queues a message to it.
func (s *Store) RestoreWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, m service.Notice) error {
	return s.write(ctx, t, func(w *writer) error {
		if err := w.execOne(ctx, `update webhook set failing_since = null, disabled_at = null, note = ''
			where group_id = $1 and webhook_id = $2`, t.Group, id); err != nil {
			return err
		}
		return w.exec(ctx, noticeColumns+"values ($1, gen_random_uuid(), $2, null, null, $3, $4, $5, $5)", t.Group, id, m.Event, string(m.Payload), m.At)
	})
}

var deliveryFields = []field[webhook.Delivery]{
	{"d.delivery_id", func(d *webhook.Delivery) any { return &d.ID }},
	{"d.webhook_id", func(d *webhook.Delivery) any { return &d.WebhookID }},
	{"d.listing_id", func(d *webhook.Delivery) any { return blank(&d.ListingID) }},
	{"d.event", func(d *webhook.Delivery) any { return &d.Event }},
	{"d.payload", func(d *webhook.Delivery) any { return &d.Payload }},
	{"d.created_at", func(d *webhook.Delivery) any { return &d.CreatedAt }},
	{"d.next_at", func(d *webhook.Delivery) any { return blank(&d.NextAt) }},
	{"d.attempts", func(d *webhook.Delivery) any { return &d.Attempts }},
	{"d.tried_at", func(d *webhook.Delivery) any { return blank(&d.TriedAt) }},
	{"d.status", func(d *webhook.Delivery) any { return blank(&d.Status) }},
	{"d.error", func(d *webhook.Delivery) any { return &d.Error }},
	{"d.delivered_at", func(d *webhook.Delivery) any { return blank(&d.DeliveredAt) }},
}

// deliveryStates are the conditions of service.DeliveryStates.
var deliveryStates = map[string]string{
	webhook.DeliveryPending:   " and d.next_at is not null",
	webhook.DeliveryDelivered: " and d.delivered_at is not null",
	webhook.DeliveryFailed:    " and d.next_at is null and d.delivered_at is null",
}

// WebhookDeliveries lists deliveries of an endpoint, the latest first.
func (s *Store) WebhookDeliveries(ctx context.Context, t service.Tenant, q webhook.DeliveryQuery) ([]webhook.Delivery, bool, error) {
	var found []webhook.Delivery
	most := (*int)(nil) // limit null is none
	if q.Limit > 0 {
		most = new(q.Limit + 1)
	}
	err := s.run(ctx, t, statement{
		sql: "select " + expressions(deliveryFields) + ` from webhook_delivery d where d.group_id = $1 and d.webhook_id = $2
			and ($3::uuid is null or d.delivery_id = $3) and ($4::timestamptz is null or (d.created_at, d.delivery_id) < ($4, $5))` +
			deliveryStates[q.State] + " order by d.created_at desc, d.delivery_id desc limit $6",
		args: []any{t.Group, q.Webhook, unlessZero(q.ID), unlessZero(q.Before), q.BeforeID, most}, read: collect(&found, deliveryFields),
	})
	if more := q.Limit > 0 && len(found) > q.Limit; more {
		return found[:q.Limit], more, err
	}
	return found, false, err
}

// ResendWebhookDelivery queues a dead letter anew.
func (s *Store) ResendWebhookDelivery(ctx context.Context, t service.Tenant, id uuid.UUID, at time.Time) error {
	var again uuid.UUID
	return s.run(ctx, t, statement{
		sql: `update webhook_delivery d set next_at = $3, attempts = 0
			where d.group_id = $1 and d.delivery_id = $2` + deliveryStates[webhook.DeliveryFailed] + " returning d.delivery_id",
		args: []any{t.Group, id, at}, read: one(&again),
	})
}

// TakeWebhook takes an endpoint for which something is due.
func (s *Store) TakeWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, now, until time.Time) (taken bool, err error) {
	err = s.run(ctx, t, statement{
		sql: `update webhook w set busy_until = $4
			where w.group_id = $1 and w.webhook_id = $2 and w.disabled_at is null and (w.busy_until is null or w.busy_until <= $3)
			and exists (select from webhook_delivery d where d.group_id = $1 and d.webhook_id = $2 and d.next_at <= $3) returning true`,
		args: []any{t.Group, id, now, until},
		read: oneOrNone(&taken),
	})
	return taken, err
}

// NextWebhookDelivery counts an attempt at the first message that is due.
func (s *Store) NextWebhookDelivery(ctx context.Context, t service.Tenant, endpoint uuid.UUID, now, until time.Time) (*webhook.Delivery, error) {
	var found []webhook.Delivery
	err := s.run(ctx, t,
		statement{sql: "update webhook set busy_until = $3 where group_id = $1 and webhook_id = $2", args: []any{t.Group, endpoint, until}},
		statement{
			sql: `update webhook_delivery d set attempts = attempts + 1, tried_at = $3
				where d.group_id = $1 and d.delivery_id = (select x.delivery_id from webhook_delivery x
					where x.group_id = $1 and x.webhook_id = $2 and x.next_at <= $3 order by x.created_at, x.delivery_id limit 1)
				returning ` + expressions(deliveryFields),
			args: []any{t.Group, endpoint, now}, read: collect(&found, deliveryFields),
		})
	if err == nil && len(found) == 0 {
		err = service.ErrNotFound
	}
	if err != nil {
		return nil, err
	}
	return &found[0], nil
}

// RecordAttempt notes what came of an attempt. With a disabled endpoint all that
// waits for it is given up.
func (s *Store) RecordAttempt(ctx context.Context, t service.Tenant, a webhook.Attempt) error {
	webhook := a.Delivery.WebhookID
	steps := []statement{{
		sql: `update webhook_delivery set status = $3, error = $4, next_at = $5, delivered_at = case when $6 then $7::timestamptz end
			where group_id = $1 and delivery_id = $2`,
		args: []any{t.Group, a.Delivery.ID, unlessZero(a.Status), a.Error, unlessZero(a.NextAt), a.Delivered, a.At},
	}, {
		sql:  "update webhook set failing_since = case when not $3 then coalesce(failing_since, $4) end where group_id = $1 and webhook_id = $2",
		args: []any{t.Group, webhook, a.Delivered, a.At},
	}}
	if a.Disable != "" {
		steps = append(steps, statement{
			sql:  "update webhook set disabled_at = $3, note = $4 where group_id = $1 and webhook_id = $2",
			args: []any{t.Group, webhook, a.At, a.Disable},
		}, statement{
			sql:  "update webhook_delivery set next_at = null, error = 'the webhook was disabled' where group_id = $1 and webhook_id = $2 and next_at is not null",
			args: []any{t.Group, webhook},
		})
	}
	return s.run(ctx, t, steps...)
}

// ReleaseWebhook gives an endpoint back.
func (s *Store) ReleaseWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, until time.Time) error {
	return s.run(ctx, t, statement{sql: "update webhook set busy_until = $3 where group_id = $1 and webhook_id = $2", args: []any{t.Group, id, until}})
}

// TidyWebhook deletes old deliveries and counts dead letters.
func (s *Store) TidyWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, before time.Time) (failed int, err error) {
	err = s.run(ctx, t,
		statement{sql: "delete from webhook_delivery where group_id = $1 and webhook_id = $2 and created_at < $3", args: []any{t.Group, id, before}},
		statement{
			sql:  "select count(*) from webhook_delivery d where d.group_id = $1 and d.webhook_id = $2" + deliveryStates[webhook.DeliveryFailed],
			args: []any{t.Group, id}, read: one(&failed),
		})
	return failed, err
}
