package api

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"syscall"
	"time"

	"askwright/service/webhook"
)

// webhookTimeout is for all of it: name, connection, handshake and answer.
const webhookTimeout = 5 * time.Second

var errNotPublic = errors.New("the address is not public")

// PostWebhooks returns what sends to the endpoints of webhooks: the only
// requests that go where a client says.
func PostWebhooks() webhook.Post { return postWebhooks(webhook.IsPublicAddress, nil) }

// postWebhooks sends to allowed addresses only. The address is looked at when it
// is dialled, after its name was resolved, so that no name can be made to lead
// elsewhere in between. Proxies of the environment are not used: they would be
// what is dialled.
func postWebhooks(isAllowed func(netip.Addr) bool, roots *x509.CertPool) webhook.Post {
	dialer := &net.Dialer{Control: func(_, address string, _ syscall.RawConn) error {
		at, err := netip.ParseAddrPort(address)
		if err != nil || !isAllowed(at.Addr()) {
			return errNotPublic
		}
		return nil
	}}
	client := &http.Client{
		Timeout:       webhookTimeout,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		Transport: &http.Transport{
			DialContext:            dialer.DialContext,
			TLSClientConfig:        &tls.Config{RootCAs: roots, MinVersion: tls.VersionTLS12},
			DisableKeepAlives:      true,
			DisableCompression:     true,
			MaxResponseHeaderBytes: 16 << 10,
		},
	}
	return func(ctx context.Context, url string, headers map[string]string, body []byte) (webhook.PostAnswer, error) {
		request, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(body))
		if err != nil {
			return webhook.PostAnswer{}, fmt.Errorf("the address cannot be used")
		}
		for name, value := range headers {
			request.Header.Set(name, value)
		}
		request.Header.Set("Content-Type", "application/json")
		request.Header.Set("User-Agent", "Askwright")
		response, err := client.Do(request)
		if err != nil {
			return webhook.PostAnswer{}, postError(err)
		}
		response.Body.Close() // nothing of it is read
		answer := webhook.PostAnswer{Status: response.StatusCode}
		if seconds, err := strconv.Atoi(response.Header.Get("Retry-After")); err == nil && seconds > 0 {
			answer.RetryAfter = time.Duration(min(seconds, 1<<20)) * time.Second
		}
		return answer, nil
	}
}

// postError says why there was no answer, without the endpoint's address, which
// may hold a token, and without what is to be known of this network only.
func postError(err error) error {
	var unresolved *net.DNSError
	var timeout net.Error
	var wrapped *url.Error
	switch {
	case errors.Is(err, errNotPublic):
		return errNotPublic
	case errors.As(err, &unresolved):
		return fmt.Errorf("the name %s was not found", unresolved.Name)
	case errors.As(err, &timeout) && timeout.Timeout():
		return fmt.Errorf("no answer within %s", webhookTimeout)
	case errors.As(err, &wrapped):
		return wrapped.Err
	}
	return err
}
