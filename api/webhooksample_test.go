package api_test

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"strings"
	"testing"
)

// A receiver can be tried with what a webhook would send, also where webhooks are
// off: the signature is that of Standard Webhooks 1.0.0, computed here anew.
func TestASampleMessageIsSignedWithTheSecretOfWhoAsks(t *testing.T) {
	t.Parallel()
	s := setup(t)
	const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw" // of the specification's examples
	key, err := base64.StdEncoding.DecodeString(strings.TrimPrefix(secret, "whsec_"))
	if err != nil {
		t.Fatal(err)
	}
	ask := func(body string) reply {
		return s.do(t, call{method: "POST", path: "/v1/webhook-samples", key: s.Keys["Wilda"], body: body})
	}
	for _, event := range []string{"listing.slow", "listing.stale", "listing.sold", "offer.recorded", "webhook.test"} {
		sample := want[struct {
			Headers map[string]string
			Body    string
		}](t, ask(`{"event_type":"`+event+`","secret":"`+secret+`"}`), 200)
		mac := hmac.New(sha256.New, key)
		mac.Write([]byte(sample.Headers["webhook-id"] + "." + sample.Headers["webhook-timestamp"] + "." + sample.Body))
		if wanted := "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil)); sample.Headers["webhook-signature"] != wanted {
			t.Errorf("%s: signature %q, want %q", event, sample.Headers["webhook-signature"], wanted)
		}
		var message struct {
			Type string
			Data map[string]any
		}
		if err := json.Unmarshal([]byte(sample.Body), &message); err != nil || message.Type != event {
			t.Errorf("%s: %v in %s", event, err, sample.Body)
		}
		if event != "webhook.test" && message.Data["ref"] == "" {
			t.Errorf("%s tells of no listing: %s", event, sample.Body)
		}
	}
	for body, pointer := range map[string]string{
		`{"event_type":"listing.gone","secret":"` + secret + `"}`: "event_type",
		`{"event_type":"listing.sold","secret":"whsec_short"}`:    "secret",
		`{"event_type":"listing.sold"}`:                           "secret",
	} {
		if p := wantProblem(t, ask(body), 422, "invalid"); !strings.Contains(p.Detail, pointer) {
			t.Errorf("%s: %s", body, p.Detail)
		}
	}
}
