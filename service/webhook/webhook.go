package webhook

import (
	"context"
	"crypto/rand"
	"encoding/base64"
	"fmt"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/service"
)

// Webhook is an endpoint that is told what happens in the group.
type Webhook struct {
	ID           uuid.UUID
	MemberID     uuid.UUID // who made it: it is told what they may see
	Member       string
	URL          string
	Label        string
	Events       []string // of WebhookEvents
	Secret       []byte   // the key of the signatures
	CreatedAt    time.Time
	FailingSince time.Time // the first failure after the last success; zero: none
	DisabledAt   time.Time // zero: it is in service
	Note         string    // why it was disabled
}

// What an endpoint can be told of.
const (
	webhookTest = "webhook.test" // asked for, to try the endpoint
)

// Events lists what an endpoint can ask for.
var Events = []string{service.WebhookSlow, service.WebhookStale, service.WebhookSold, service.WebhookOffer}

// The states of a delivery.
const (
	DeliveryPending   = "pending"
	DeliveryDelivered = "delivered"
	DeliveryFailed    = "failed" // given up: a dead letter, which can be sent again
)

// DeliveryStates lists them.
var DeliveryStates = []string{DeliveryPending, DeliveryDelivered, DeliveryFailed}

// Delivery is a message to one endpoint.
type Delivery struct {
	ID          uuid.UUID // the same however often it is sent
	WebhookID   uuid.UUID
	ListingID   uuid.UUID // zero: it tells of none
	Event       string
	Payload     string
	CreatedAt   time.Time
	NextAt      time.Time // zero: it is over
	Attempts    int
	TriedAt     time.Time
	Status      int    // of the last answer; zero: there was none
	Error       string // of the last attempt
	DeliveredAt time.Time
}

// State is one of DeliveryStates.
func (d *Delivery) State() string {
	switch {
	case !d.DeliveredAt.IsZero():
		return DeliveryDelivered
	case d.NextAt.IsZero():
		return DeliveryFailed
	}
	return DeliveryPending
}

// DeliveryQuery selects deliveries of an endpoint, the latest first.
type DeliveryQuery struct {
	Webhook  uuid.UUID
	ID       uuid.UUID // zero: all
	State    string    // empty: all
	Limit    int       // zero: all
	Before   time.Time // with BeforeID, the last one seen; zero: from the start
	BeforeID uuid.UUID
}

// Store keeps endpoints and what they are to be told. A delivery of what
// only one member may see is there for that member alone.
type Store interface {
	// CreateWebhook keeps an endpoint, with an audit row.
	CreateWebhook(ctx context.Context, t service.Tenant, w Webhook) error
	// Webhooks lists the group's endpoints in the order in which they were made.
	Webhooks(ctx context.Context, t service.Tenant) ([]Webhook, error)
	// DeleteWebhook removes one with its deliveries, with an audit row. ErrNotFound.
	DeleteWebhook(ctx context.Context, t service.Tenant, id uuid.UUID) error
	// RestoreWebhook takes an endpoint back into service where it was disabled,
	// and queues a message to it alone. ErrNotFound.
	RestoreWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, m service.Notice) error
	// WebhookDeliveries returns at most q.Limit of them, and whether there are more.
	WebhookDeliveries(ctx context.Context, t service.Tenant, q DeliveryQuery) ([]Delivery, bool, error)
	// ResendWebhookDelivery queues a dead letter anew. ErrNotFound: it is none.
	ResendWebhookDelivery(ctx context.Context, t service.Tenant, id uuid.UUID, at time.Time) error
}

const (
	webhooksMost   = 20 // endpoints of a group
	webhookURLMost = 2000
	secretPrefix   = "whsec_"
	secretBytes    = 32 // of 24 to 64 that the specification allows
)

// NewWebhook asks for an endpoint.
type NewWebhook struct {
	URL, Label string
	Events     []string // empty: all
}

// needWebhooks says what is missing for a webhook to be told anything.
func (s *Service) needWebhooks(a *service.Actor) error {
	if !a.Can(service.ScopeAdmin) {
		return service.Refuse(service.ErrForbidden, "webhooks need an admin key")
	}
	if !s.isOn {
		return service.Refuse(service.ErrConflict, "webhooks are off here: whoever runs the service can turn them on with ASKWRIGHT_WEBHOOKS=on")
	}
	return nil
}

// Create makes an endpoint and returns it with the secret of its
// signatures, which is shown this once.
func (s *Service) Create(ctx context.Context, a *service.Actor, n NewWebhook) (*Webhook, string, error) {
	if err := s.needWebhooks(a); err != nil {
		return nil, "", err
	}
	w := Webhook{
		ID: service.NewID(), MemberID: a.MemberID, Member: a.Member, Label: strings.TrimSpace(n.Label), Events: n.Events,
		Secret: make([]byte, secretBytes), CreatedAt: s.now(),
	}
	rand.Read(w.Secret) // never fails
	var err error
	if w.URL, err = webhookURL(n.URL); err != nil {
		return nil, "", service.Invalid("url", "%v", err)
	}
	if err := service.CheckText(w.Label, 100); err != nil {
		return nil, "", service.Invalid("label", "%v", err)
	}
	if len(w.Events) == 0 {
		w.Events = Events
	}
	for _, e := range w.Events {
		if !slices.Contains(Events, e) {
			return nil, "", service.Invalid("events", "%v", service.NotAllowed(e, Events))
		}
	}
	w.Events = slices.Compact(slices.Sorted(slices.Values(w.Events)))
	there, err := s.store.Webhooks(ctx, a.Tenant())
	if err != nil {
		return nil, "", fmt.Errorf("list the webhooks: %w", err)
	}
	if len(there) >= webhooksMost {
		return nil, "", service.Refuse(service.ErrConflict, "the group has %d webhooks, which is the most; delete one first", len(there))
	}
	if err := s.store.CreateWebhook(ctx, a.Tenant(), w); err != nil {
		return nil, "", fmt.Errorf("keep the webhook: %w", err)
	}
	return &w, secretPrefix + base64.StdEncoding.EncodeToString(w.Secret), nil
}

// webhookURL checks an address and returns it as it is kept. Where its name
// leads is looked at whenever something is sent there.
func webhookURL(text string) (string, error) {
	u, err := url.Parse(strings.TrimSpace(text))
	switch {
	case err != nil || u.Hostname() == "":
		return "", fmt.Errorf("%q is not an address such as https://example.org/hook", service.Clip(text))
	case u.Scheme != "https":
		return "", fmt.Errorf("must begin with https://")
	case u.User != nil || u.Fragment != "":
		return "", fmt.Errorf("must hold neither a user nor a #")
	case len(text) > webhookURLMost:
		return "", fmt.Errorf("is longer than %d characters", webhookURLMost)
	}
	if err := service.CheckText(u.String(), webhookURLMost); err != nil {
		return "", err
	}
	if address, err := netip.ParseAddr(u.Hostname()); err == nil && !IsPublicAddress(address) {
		return "", fmt.Errorf("%s is not a public address", address)
	}
	return u.String(), nil
}

// List lists the group's endpoints.
func (s *Service) List(ctx context.Context, a *service.Actor) ([]Webhook, error) {
	if !a.Can(service.ScopeAdmin) {
		return nil, service.Refuse(service.ErrForbidden, "webhooks need an admin key")
	}
	return s.store.Webhooks(ctx, a.Tenant())
}

// webhook finds one endpoint.
func (s *Service) webhook(ctx context.Context, a *service.Actor, id uuid.UUID) (*Webhook, error) {
	all, err := s.List(ctx, a)
	if err != nil {
		return nil, err
	}
	i := slices.IndexFunc(all, func(w Webhook) bool { return w.ID == id })
	if i < 0 {
		return nil, service.Refuse(service.ErrNotFound, "there is no webhook with the id %s", id)
	}
	return &all[i], nil
}

// Delete removes an endpoint with what it was still to be told.
func (s *Service) Delete(ctx context.Context, a *service.Actor, id uuid.UUID) error {
	if _, err := s.webhook(ctx, a, id); err != nil {
		return err
	}
	return s.store.DeleteWebhook(ctx, a.Tenant(), id)
}

// Test sends an endpoint a message that tells of nothing. One that was
// disabled is in service again.
func (s *Service) Test(ctx context.Context, a *service.Actor, id uuid.UUID) error {
	if err := s.needWebhooks(a); err != nil {
		return err
	}
	if _, err := s.webhook(ctx, a, id); err != nil {
		return err
	}
	return s.store.RestoreWebhook(ctx, a.Tenant(), id, service.NewNotice(webhookTest, s.now(), uuid.Nil, struct{}{}))
}

// Deliveries lists what an endpoint was told, or is to be.
func (s *Service) Deliveries(ctx context.Context, a *service.Actor, q DeliveryQuery) ([]Delivery, bool, error) {
	if _, err := s.webhook(ctx, a, q.Webhook); err != nil {
		return nil, false, err
	}
	return s.store.WebhookDeliveries(ctx, a.Tenant(), q)
}

// Resend sends a dead letter again, with the id that it had.
func (s *Service) Resend(ctx context.Context, a *service.Actor, webhook, delivery uuid.UUID) error {
	if err := s.needWebhooks(a); err != nil {
		return err
	}
	w, err := s.webhook(ctx, a, webhook)
	if err != nil {
		return err
	}
	found, _, err := s.store.WebhookDeliveries(ctx, a.Tenant(), DeliveryQuery{Webhook: webhook, ID: delivery})
	switch {
	case err != nil:
		return fmt.Errorf("look for the delivery: %w", err)
	case len(found) == 0:
		return service.Refuse(service.ErrNotFound, "the webhook has no delivery with the id %s", delivery)
	case found[0].State() != DeliveryFailed:
		return service.Refuse(service.ErrConflict, "it is %s; only what failed can be sent again", found[0].State())
	case !w.DisabledAt.IsZero():
		return service.Refuse(service.ErrConflict, "the webhook is disabled (%s); test it first, which takes it back into service", w.Note)
	}
	return s.store.ResendWebhookDelivery(ctx, a.Tenant(), delivery, s.now())
}

// notPublic are the blocks that lead to no public host: those of IANA's
// registries of special-purpose addresses (RFC 6890) that are not said to be
// globally reachable, as of 2026-07-18, and multicast. Of IPv6, what is not
// listed as global unicast (2000::/3) is not public either.
var notPublic = func() []netip.Prefix {
	var out []netip.Prefix
	for _, block := range []string{
		"0.0.0.0/8", "10.0.0.0/8", "100.64.0.0/10", "127.0.0.0/8", "169.254.0.0/16", "172.16.0.0/12", "192.0.0.0/24", "192.0.2.0/24",
		"192.88.99.0/24", "192.168.0.0/16", "198.18.0.0/15", "198.51.100.0/24", "203.0.113.0/24", "224.0.0.0/4", "240.0.0.0/4",
		"2001::/23", "2001:db8::/32", "2002::/16", "3fff::/20",
	} {
		out = append(out, netip.MustParsePrefix(block))
	}
	return out
}()

var globalUnicast = netip.MustParsePrefix("2000::/3")

// IsPublicAddress reports whether an address is that of a public host. An IPv4
// address within an IPv6 one is not, however it is put there.
func IsPublicAddress(a netip.Addr) bool {
	if !a.IsValid() || a.Zone() != "" || (!a.Is4() && !globalUnicast.Contains(a)) {
		return false
	}
	return !slices.ContainsFunc(notPublic, func(p netip.Prefix) bool { return p.Contains(a) })
}
