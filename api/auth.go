package api

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

const actorKey = "askwright.actor"

// keyText matches keys, and what was cut from one, wherever they turn up.
var keyText = regexp.MustCompile(`ask_[A-Za-z0-9]{4,}`)

// keyParameter matches a key in an address, whatever it looks like.
var keyParameter = regexp.MustCompile(`(?i)([?&;]key=)[^&\s"]*`)

// scrub takes keys out of any text that leaves for a log or an answer.
func scrub(s string) string {
	if !strings.Contains(s, "ask_") && !strings.Contains(strings.ToLower(s), "key=") {
		return s
	}
	return keyText.ReplaceAllString(keyParameter.ReplaceAllString(s, "${1}…"), "ask_…")
}

// authenticate finds who holds the key and whether its scope is enough.
func (s *Server) authenticate(scope string) gin.HandlerFunc {
	return func(c *gin.Context) {
		actor, err := s.actor(c, scope)
		if err != nil {
			s.fail(c, err)
			return
		}
		c.Set(actorKey, actor)
		if c.Request.Method == http.MethodHead {
			return
		}
		if err := s.limit(c, actor, 1); err != nil {
			s.fail(c, err)
		}
	}
}

func (s *Server) actor(c *gin.Context, scope string) (*service.Actor, error) {
	text, err := keyOf(c.Request, scope == service.ScopeFeed)
	if err != nil {
		return nil, err
	}
	if text == "" {
		return nil, refuse(unauthenticated, "a key is needed: send Authorization: Bearer KEY")
	}
	a, err := s.service.Members.Authenticate(c.Request.Context(), text)
	if err != nil {
		if problemOf(err).Status == http.StatusUnauthorized {
			return nil, s.countFailure(c, err)
		}
		return nil, err
	}
	note := noteOf(c)
	note.group, note.key = a.Group.ID.String(), a.KeyID.String()
	if !a.Can(scope) {
		return nil, refuse(forbidden, "this needs a key with the scope %s; this one has %s", scope, a.Scope)
	}
	return a, nil
}

// keyOf takes the key from the header, or a feed key from a feed's address.
func keyOf(r *http.Request, isFeed bool) (string, error) {
	scheme, bearer, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	bearer = strings.TrimSpace(bearer)
	if r.Header.Get("Authorization") != "" && !strings.EqualFold(scheme, "Bearer") {
		return "", refuse(unauthenticated, "the header must be Authorization: Bearer KEY")
	}
	query, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return "", refuse(malformed, "the query of the address cannot be read: a %% must be followed by two hexadecimal digits")
	}
	if _, sent := query["key"]; !sent {
		return bearer, nil
	}
	key := query.Get("key")
	switch {
	case key != "" && !service.IsFeedKey(key) && strings.HasPrefix(key, "ask_"):
		return "", refuse(keyInAddress, "this key is now in an address and may be in logs: revoke it, make another one, and send it in the header; only feed keys may stand in an address")
	case !isFeed:
		return "", refuse(keyInAddress, "a key in the address opens feeds and pictures only (.csv, .atom, .svg, .png); send Authorization: Bearer KEY")
	case bearer != "":
		return "", refuse(malformed, "there are two keys, in the header and in the address; send one")
	}
	return key, nil
}
