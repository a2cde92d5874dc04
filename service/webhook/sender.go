package webhook

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base64"
	"errors"
	"fmt"
	"maps"
	"math"
	"time"

	"github.com/google/uuid"
	"golang.org/x/sync/errgroup"

	"askwright/service"
)

// When messages to endpoints are sent, and until when. A message is tried at
// once and then after 30 s, 90 s, 4.5 min … 18 h, a quarter more or less: nine
// times in 27 hours.
const (
	notifyEvery    = 5 * time.Second
	notifyTime     = 5 * time.Minute // of one pass
	sendAtOnce     = 8               // endpoints
	sendInTurn     = 20              // messages to one endpoint before it is another round's
	sendLease      = time.Minute
	pauseMost      = 15 * time.Minute // for an endpoint that asks for time; its message waits longer
	firstWait      = 30 * time.Second
	waitGrowth     = 3
	waitJitter     = 0.25
	attemptsMost   = 9
	retryAfterMost = 24 * time.Hour      // of what an endpoint asks for
	disableAfter   = 7 * 24 * time.Hour  // of nothing but failures
	keepDeliveries = 30 * 24 * time.Hour // also dead letters
	tidyEvery      = 10 * time.Minute
	errorMost      = 200 // characters of an error that are kept
)

// Post sends a request to an endpoint: the headers and the JSON body. Redirects
// are not followed, and it goes to public addresses only. An error says in words
// for the endpoint's owner why there was no answer.
type Post func(ctx context.Context, url string, headers map[string]string, body []byte) (PostAnswer, error)

// PostAnswer is what is looked at of an answer.
type PostAnswer struct {
	Status     int
	RetryAfter time.Duration // zero: the endpoint asked for no particular one
}

// SenderStore hands out what is to be sent. Two processes never send to one
// endpoint at the same time: each takes it for a while.
type SenderStore interface {
	// Changes lists all groups with their change numbers.
	Changes(ctx context.Context) (map[uuid.UUID]int64, error)
	// Webhooks lists the group's endpoints in the order in which they were made.
	Webhooks(ctx context.Context, t service.Tenant) ([]Webhook, error)
	// TakeWebhook takes an endpoint until a time, if something is due for it
	// that this tenant sees, it is in service and nobody has it.
	TakeWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, now, until time.Time) (bool, error)
	// NextWebhookDelivery returns the first message that is due, counts the attempt and
	// keeps the endpoint until a time. Until the attempt is recorded the message
	// stays due. ErrNotFound: nothing is due.
	NextWebhookDelivery(ctx context.Context, t service.Tenant, webhook uuid.UUID, now, until time.Time) (*Delivery, error)
	// RecordAttempt notes what came of the last attempt.
	RecordAttempt(ctx context.Context, t service.Tenant, a Attempt) error
	// ReleaseWebhook gives an endpoint back, to be left alone until a time.
	ReleaseWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, until time.Time) error
	// TidyWebhook deletes deliveries from before a time and returns how many
	// of the others are dead letters.
	TidyWebhook(ctx context.Context, t service.Tenant, id uuid.UUID, before time.Time) (failed int, err error)
}

// Attempt is what came of sending a message. Without NextAt it is over.
type Attempt struct {
	Delivery  *Delivery
	At        time.Time
	Delivered bool
	Status    int
	Error     string
	NextAt    time.Time
	Disable   string // why the endpoint is to be disabled; empty: it is not
}

// RunOnce sends what is due, to several endpoints at once and to each in
// order. Now and then it drops old messages and counts the dead ones. One pass
// runs at a time.
func (s *Sender) RunOnce(ctx context.Context) error {
	s.turn.Lock()
	defer s.turn.Unlock()
	groups, err := s.store.Changes(ctx)
	if err != nil {
		return fmt.Errorf("list the groups: %w", err)
	}
	now := s.now()
	maps.DeleteFunc(s.without, func(group uuid.UUID, at int64) bool { return groups[group] != at })
	isTidying := now.Sub(s.tidiedAt) >= tidyEvery
	dead := 0
	var work errgroup.Group
	work.SetLimit(sendAtOnce)
	for group, changeNo := range groups {
		if _, none := s.without[group]; none {
			continue
		}
		webhooks, listErr := s.store.Webhooks(ctx, service.Tenant{Group: group})
		if listErr != nil {
			err = errors.Join(err, fmt.Errorf("list the webhooks of group %s: %w", group, listErr))
		} else if len(webhooks) == 0 {
			s.without[group] = changeNo
		}
		for _, w := range webhooks {
			t := service.Tenant{Group: group, Member: w.MemberID}
			if isTidying {
				failed, tidyErr := s.store.TidyWebhook(ctx, t, w.ID, now.Add(-keepDeliveries))
				dead, err = dead+failed, errors.Join(err, tidyErr)
			}
			if w.DisabledAt.IsZero() {
				work.Go(func() error { return s.sendTo(ctx, t, w) })
			}
		}
	}
	if isTidying {
		s.tidiedAt = now
		s.sent.deadLetters.Set(float64(dead))
	}
	return errors.Join(err, work.Wait())
}

// sendTo sends an endpoint what is due, until something fails.
func (s *Sender) sendTo(ctx context.Context, t service.Tenant, w Webhook) error {
	taken, err := s.store.TakeWebhook(ctx, t, w.ID, s.now(), s.now().Add(sendLease))
	if err != nil || !taken {
		return err
	}
	var pause time.Duration
	for range sendInTurn {
		d, err := s.store.NextWebhookDelivery(ctx, t, w.ID, s.now(), s.now().Add(sendLease))
		if service.IsNotFound(err) {
			break
		}
		if err != nil {
			return fmt.Errorf("read the next message to webhook %s: %w", w.ID, err)
		}
		pause, err = s.attempt(ctx, t, &w, d)
		if err != nil {
			return fmt.Errorf("send to webhook %s: %w", w.ID, err)
		}
		if pause > 0 {
			break
		}
	}
	// Where it ended with an error, the endpoint stays taken for a while.
	return s.store.ReleaseWebhook(context.WithoutCancel(ctx), t, w.ID, s.now().Add(pause))
}

// attempt sends one message and records what came of it. After a failure the
// endpoint may have a bad time, and is left alone for a while.
func (s *Sender) attempt(ctx context.Context, t service.Tenant, w *Webhook, d *Delivery) (pause time.Duration, err error) {
	now, body := s.now(), []byte(d.Payload)
	answer, postErr := s.post(ctx, w.URL, signedHeaders(w.Secret, d.ID, now, body), body)
	if postErr != nil && ctx.Err() != nil {
		return 0, ctx.Err() // nobody knows whether it arrived: it is sent again
	}
	a := s.judge(w, d, answer, postErr)
	result := "retried"
	if a.NextAt.IsZero() {
		result = DeliveryFailed
	}
	if a.Delivered {
		result, w.FailingSince = DeliveryDelivered, time.Time{}
	} else {
		pause = max(firstWait, min(answer.RetryAfter, pauseMost))
	}
	s.sent.attempts.WithLabelValues(result).Inc()
	if a.Disable != "" {
		s.logger.WarnContext(ctx, "a webhook was disabled", "group", t.Group, "webhook", w.ID, "reason", a.Disable)
	}
	return pause, s.store.RecordAttempt(context.WithoutCancel(ctx), t, a)
}

// judge decides what an answer means: 2xx is success, 410 the end of the
// endpoint, all else is tried again or given up.
func (s *Sender) judge(w *Webhook, d *Delivery, answer PostAnswer, postErr error) Attempt {
	a := Attempt{Delivery: d, At: s.now(), Status: answer.Status}
	const gone = 410 // RFC 9110, section 15.5.11
	switch {
	case postErr != nil:
		a.Error = postErr.Error()
	case answer.Status >= 200 && answer.Status <= 299:
		a.Delivered = true
		return a
	case answer.Status == gone:
		a.Error, a.Disable = "it answered 410", "it answered 410: nothing more is wanted there"
		return a
	default:
		a.Error = fmt.Sprintf("it answered %d", answer.Status)
	}
	if r := []rune(a.Error); len(r) > errorMost {
		a.Error = string(r[:errorMost])
	}
	if d.Attempts < attemptsMost {
		a.NextAt = a.At.Add(max(s.backoff(d.Attempts), min(answer.RetryAfter, retryAfterMost)))
		return a
	}
	if !w.FailingSince.IsZero() && a.At.Sub(w.FailingSince) >= disableAfter {
		a.Disable = "nothing was delivered since " + w.FailingSince.UTC().Format(time.RFC3339)
	}
	return a
}

// backoff is the wait after so many attempts: exponential, with jitter so that
// what failed together does not come back together.
func (s *Sender) backoff(attempts int) time.Duration {
	wait := float64(firstWait) * math.Pow(waitGrowth, float64(attempts-1))
	return time.Duration(wait * (1 + waitJitter*(2*s.random()-1)))
}

// signature is that of the Standard Webhooks specification 1.0.0, "Signature
// scheme": HMAC-SHA256 over id, time and body.
func signature(secret []byte, id string, at time.Time, body []byte) string {
	mac := hmac.New(sha256.New, secret)
	fmt.Fprintf(mac, "%s.%d.%s", id, at.Unix(), body)
	return "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}
