package webhook

import (
	"encoding/base64"
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/service"
)

// Sample is a message as it would be sent, for a receiver to be tried with.
type Sample struct {
	Headers map[string]string
	Body    string // exactly what is signed
}

const sampleMember = "Maren"

// Sample makes a message about an invented listing, signed with a secret of
// whoever asks. Nothing is sent or saved.
func (s *Service) Sample(a *service.Actor, eventType, secret string) (*Sample, error) {
	if !a.Can(service.ScopeAdmin) {
		return nil, service.Refuse(service.ErrForbidden, "webhooks need an admin key")
	}
	key, err := secretKey(secret)
	if err != nil {
		return nil, err
	}
	notice, err := sampleNotice(a.Group.Currency, eventType, s.now())
	if err != nil {
		return nil, err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return nil, err
	}
	return &Sample{Headers: signedHeaders(key, id, s.now(), notice.Payload), Body: string(notice.Payload)}, nil
}

// secretKey reads the secret of a webhook as Standard Webhooks writes it.
func secretKey(text string) ([]byte, error) {
	rest, ok := strings.CutPrefix(text, secretPrefix)
	key, err := base64.StdEncoding.DecodeString(rest)
	if !ok || err != nil || len(key) < 24 || len(key) > 64 {
		return nil, service.Invalid("secret", "must be %s and the base64 of 24 to 64 bytes, as the answer to a new webhook has it", secretPrefix)
	}
	return key, nil
}

// sampleNotice tells of a listing that there is not.
func sampleNotice(c service.Currency, eventType string, at time.Time) (service.Notice, error) {
	amount := func(major float64) json.Number { return json.Number(service.MoneyOf(major, c).Format(c)) }
	days := 34
	listing := uuid.NewSHA1(uuid.NameSpaceOID, []byte("sample"))
	news := service.ListingNews{
		ListingID: listing, Ref: "B-17", Member: sampleMember, Category: "sideboard", Ask: amount(480), Currency: c.Code,
	}
	switch eventType {
	case service.WebhookSlow, service.WebhookStale:
		news.State, news.ActiveDays = strings.TrimPrefix(eventType, "listing."), &days
	case service.WebhookSold:
		news.SalePrice, news.EndedOn = amount(440), at.UTC().Format(time.DateOnly)
	case service.WebhookOffer:
		news.Amount, news.On = amount(400), at.UTC().Format(time.DateOnly)
	case webhookTest:
		return service.NewNotice(eventType, at, uuid.Nil, struct{}{}), nil
	default:
		return service.Notice{}, service.Invalid("event_type", "%q is none of %s, %s", eventType, strings.Join(Events, ", "), webhookTest)
	}
	return service.NewNotice(eventType, at, listing, news), nil
}

// signedHeaders are those of the Standard Webhooks specification.
func signedHeaders(secret []byte, id uuid.UUID, at time.Time, body []byte) map[string]string {
	return map[string]string{
		"webhook-id":        id.String(),
		"webhook-timestamp": strconv.FormatInt(at.Unix(), 10),
		"webhook-signature": signature(secret, id.String(), at, body),
	}
}
