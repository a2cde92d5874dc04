package api

import (
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"net/http"
	"net/url"
	"regexp"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// Entity tags (RFC 9110 section 8.8.3) are strong. A listing's is its
// revision; a list's says what it was made from, so that an unchanged one is
// answered before it is read; other resources' are hashes of their bodies.

func revisionTag(revision int64) string { return `"` + strconv.FormatInt(revision, 10) + `"` }

// listTag is the tag of anything computed from what the group has on file.
func (s *Server) listTag(c *gin.Context, a *service.Actor, form string) string {
	query := c.Request.URL.Query()
	query.Del("key")
	return hashTag(a.Group, a.Today, a.MemberID, a.Scope == service.ScopeFeed, c.Request.URL.Path, query.Encode(), form, s.build)
}

func hashTag(parts ...any) string {
	text, err := json.Marshal(parts)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(text)
	return `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
}

// notModified sends the tag and answers 304 where the client has that already.
func notModified(c *gin.Context, tag string) bool {
	c.Header("ETag", tag)
	sent := c.GetHeader("If-None-Match")
	if sent == "" || !tagMatches(sent, tag) {
		return false
	}
	c.Status(http.StatusNotModified)
	c.Writer.WriteHeaderNow()
	return true
}

// tagMatches reports whether a list of tags holds one, in weak comparison.
func tagMatches(sent, tag string) bool {
	for part := range strings.SplitSeq(sent, ",") {
		part = strings.TrimSpace(part)
		if part == "*" || strings.TrimPrefix(part, "W/") == tag {
			return true
		}
	}
	return false
}

var revisionTags = regexp.MustCompile(`^\s*"(\d{1,18})"\s*$`)

// wantedRevision reads If-Match; nil: any.
func wantedRevision(c *gin.Context) (*int64, error) {
	sent := strings.TrimSpace(c.GetHeader("If-Match"))
	if sent == "" || sent == "*" {
		return nil, nil
	}
	m := revisionTags.FindStringSubmatch(sent)
	if m == nil {
		return nil, refuse(changed, "If-Match is %s, which never was a revision of a listing", clip(sent, 40))
	}
	n, err := strconv.ParseInt(m[1], 10, 64)
	return &n, err
}

const (
	pageDefault = 100
	pageMost    = 1000
)

// cursor is a position in a list: the last row seen, and a hash of what list
// it is.
type cursor struct {
	After []string  `json:"a,omitempty"`
	ID    uuid.UUID `json:"i"`
	Sum   string    `json:"s"`
}

// filterSum identifies a list with its position, so that a cursor that was
// altered, or that belongs to other filters, is noticed.
func (k cursor) sum(c *gin.Context) string {
	query := c.Request.URL.Query()
	for _, name := range []string{"key", "cursor", "limit", "fields"} {
		query.Del(name)
	}
	return hashTag(strings.TrimSuffix(c.Request.URL.Path, ".csv"), query.Encode(), k.After, k.ID)
}

func (k cursor) encode(c *gin.Context) string {
	k.Sum = k.sum(c)
	text, err := json.Marshal(k)
	if err != nil {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(text)
}

// decodeCursor reads a position; nil: the start.
func decodeCursor(c *gin.Context, p *params) *cursor {
	text := p.text("cursor")
	if text == "" {
		return nil
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(text)
	k := cursor{}
	if err == nil {
		err = json.Unmarshal(raw, &k)
	}
	if err != nil || k.Sum != k.sum(c) {
		p.refuse("cursor", "belongs to no page of this list; start again without it")
		return nil
	}
	return &k
}

// isAfterValue checks one value of a cursor: it goes to the database as the
// column's kind.
func isAfterValue(column, value string) bool {
	if value == "" || strings.ContainsRune(value, 0) {
		return value == ""
	}
	c, ok := service.ColumnByName(column)
	if !ok {
		return false
	}
	switch {
	case c.Kind == service.KindDate:
		_, err := pricing.ParseDate(value)
		return err == nil
	case c.Kind.IsNumeric():
		return plainNumber.MatchString(value)
	}
	return invalidUTF8([]byte(value)) < 0
}

// page is how a list goes out.
type page[T any] struct {
	Items []T    `json:"items"`
	Next  string `json:"next,omitempty"`
}

// linkNext tells where the next page is (RFC 8288).
func linkNext(c *gin.Context, next string) {
	if next == "" {
		return
	}
	query := c.Request.URL.Query()
	query.Del("key")
	query.Set("cursor", next)
	target := url.URL{Path: c.Request.URL.Path, RawQuery: query.Encode()}
	c.Header("Link", "<"+target.String()+`>; rel="next"`)
}

// The forms of answers.
const (
	formJSON = "json"
	formCSV  = "csv"
)

// wantedForm decides by the path, then by Accept (RFC 9110 section 12.5.1; of
// several the one with the greatest weight, JSON before CSV).
func wantedForm(c *gin.Context) (string, error) {
	if strings.HasSuffix(c.Request.URL.Path, ".csv") {
		return formCSV, nil
	}
	accept := c.GetHeader("Accept")
	json, csv := acceptWeight(accept, "application", "json"), acceptWeight(accept, "text", "csv")
	switch {
	case json == 0 && csv == 0:
		return "", refuse(notAcceptable, "Accept is %q; this comes as application/json or text/csv", clip(accept, 60))
	case csv > json:
		return formCSV, nil
	}
	return formJSON, nil
}

// wantJSON refuses clients that take no JSON.
func wantJSON(c *gin.Context) error {
	if accept := c.GetHeader("Accept"); acceptWeight(accept, "application", "json") == 0 {
		return refuse(notAcceptable, "Accept is %q; this comes as application/json", clip(accept, 60))
	}
	return nil
}

// acceptWeight is the weight of a media type; the most specific range decides.
func acceptWeight(accept, kind, subtype string) float64 {
	if strings.TrimSpace(accept) == "" {
		return 1
	}
	weight, precision := 0.0, 0
	for part := range strings.SplitSeq(accept, ",") {
		mediaRange, parameters, _ := strings.Cut(part, ";")
		precise := 0
		switch strings.ToLower(strings.TrimSpace(mediaRange)) {
		case kind + "/" + subtype:
			precise = 3
		case kind + "/*":
			precise = 2
		case "*/*":
			precise = 1
		}
		if precise > precision {
			precision, weight = precise, quality(parameters)
		}
	}
	return weight
}

func quality(parameters string) float64 {
	for part := range strings.SplitSeq(parameters, ";") {
		if q, ok := strings.CutPrefix(strings.ToLower(strings.TrimSpace(part)), "q="); ok {
			f, err := strconv.ParseFloat(q, 64)
			if err != nil || f < 0 || f > 1 {
				return 0
			}
			return f
		}
	}
	return 1
}
