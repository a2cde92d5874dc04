package web

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/service"
)

// ActorKey is under which a request keeps who asks.
const ActorKey = "askwright.actor"

// keyText matches keys, and what was cut from one, wherever they turn up.
var keyText = regexp.MustCompile(`ask_[A-Za-z0-9]{4,}`)

// keyParameter matches a key in an address, whatever it looks like.
var keyParameter = regexp.MustCompile(`(?i)([?&;]key=)[^&\s"]*`)

// Scrub takes keys out of any text that leaves for a log or an answer.
func Scrub(s string) string {
	if !strings.Contains(s, "ask_") && !strings.Contains(strings.ToLower(s), "key=") {
		return s
	}
	return keyText.ReplaceAllString(keyParameter.ReplaceAllString(s, "${1}…"), "ask_…")
}

// Authenticate finds who holds the key and whether its scope is enough.
func (s *Kit) Authenticate(scope string) gin.HandlerFunc {
	return func(c *gin.Context) {
		actor, err := s.actor(c, scope)
		if err != nil {
			s.Fail(c, err)
			return
		}
		c.Set(ActorKey, actor)
		if c.Request.Method == http.MethodHead {
			return
		}
		if err := s.Limit(c, actor, 1); err != nil {
			s.Fail(c, err)
		}
	}
}

func (s *Kit) actor(c *gin.Context, scope string) (*service.Actor, error) {
	text, err := KeyOf(c.Request, scope == service.ScopeFeed)
	if err != nil {
		return nil, err
	}
	if text == "" {
		return nil, Refuse(Unauthenticated, "a key is needed: send Authorization: Bearer KEY")
	}
	a, err := s.members.Authenticate(c.Request.Context(), text)
	if err != nil {
		if ProblemOf(err).Status == http.StatusUnauthorized {
			return nil, s.CountFailure(c, err)
		}
		return nil, err
	}
	if a.Session {
		return nil, s.CountFailure(c, Refuse(Unauthenticated, "this is no key but what a browser keeps of one, for the board alone"))
	}
	note := NoteOf(c)
	note.Group, note.Key = a.Group.ID.String(), a.KeyID.String()
	if !a.Can(scope) {
		return nil, Refuse(Forbidden, "this needs a key with the scope %s; this one has %s", scope, a.Scope)
	}
	return a, nil
}

// KeyOf takes the key from the header, or a feed key from a feed's address.
func KeyOf(r *http.Request, isFeed bool) (string, error) {
	scheme, bearer, _ := strings.Cut(r.Header.Get("Authorization"), " ")
	bearer = strings.TrimSpace(bearer)
	if r.Header.Get("Authorization") != "" && !strings.EqualFold(scheme, "Bearer") {
		return "", Refuse(Unauthenticated, "the header must be Authorization: Bearer KEY")
	}
	query, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return "", Refuse(Malformed, "the query of the address cannot be read: a %% must be followed by two hexadecimal digits")
	}
	if _, sent := query["key"]; !sent {
		return bearer, nil
	}
	key := query.Get("key")
	switch {
	case key != "" && !service.IsFeedKey(key) && strings.HasPrefix(key, "ask_"):
		return "", Refuse(keyInAddress, "this key is now in an address and may be in logs: revoke it, make another one, and send it in the header; only feed keys may stand in an address")
	case !isFeed:
		return "", Refuse(keyInAddress, "a key in the address opens feeds and pictures only (.csv, .atom, .ics, .svg, .png); send Authorization: Bearer KEY")
	case bearer != "":
		return "", Refuse(Malformed, "there are two keys, in the header and in the address; send one")
	}
	return key, nil
}
