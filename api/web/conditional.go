package web

import (
	"cmp"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"maps"
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

// RevisionTag is the entity tag of a row.
func RevisionTag(revision int64) string { return `"` + strconv.FormatInt(revision, 10) + `"` }

// ListTag is the tag of anything computed from what the group has on file.
func (s *Kit) ListTag(c *gin.Context, a *service.Actor, form string) string {
	query := c.Request.URL.Query()
	query.Del("key")
	return HashTag(a.Group, a.Today, a.MemberID, a.Scope == service.ScopeFeed, c.Request.URL.Path, query.Encode(), form, s.build)
}

// HashTag is an entity tag of all that an answer depends on.
func HashTag(parts ...any) string {
	text, err := json.Marshal(parts)
	if err != nil {
		return ""
	}
	sum := sha256.Sum256(text)
	return `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
}

// NotModified sends the tag and answers 304 where the client has that already.
func NotModified(c *gin.Context, tag string) bool {
	c.Header("ETag", tag)
	matching := matchingTag(c.GetHeader("If-None-Match"), tag)
	if matching == "" {
		return false
	}
	if matching != "*" {
		c.Header("ETag", matching) // that of the form which the client has
	}
	c.Status(http.StatusNotModified)
	c.Writer.WriteHeaderNow()
	return true
}

// TagMatches reports whether a list of tags holds one, in weak comparison,
// however the answer was packed.
func TagMatches(sent, tag string) bool { return matchingTag(sent, tag) != "" }

// matchingTag finds a tag in a list, or "*"; "" where it has neither.
func matchingTag(sent, tag string) string {
	for part := range strings.SplitSeq(sent, ",") {
		part = strings.TrimPrefix(strings.TrimSpace(part), "W/")
		if part == "*" || (part != "" && withoutCoding(part) == tag) {
			return part
		}
	}
	return ""
}

var revisionTags = regexp.MustCompile(`^"(\d{1,18})"$`)

// WantedRevision reads If-Match; nil: any.
func WantedRevision(c *gin.Context) (*int64, error) {
	sent := strings.TrimSpace(c.GetHeader("If-Match"))
	if sent == "" || sent == "*" {
		return nil, nil
	}
	m := revisionTags.FindStringSubmatch(withoutCoding(sent))
	if m == nil {
		return nil, Refuse(Changed, "If-Match is %s, which never was a revision of a listing", Clip(sent, 40))
	}
	n, err := strconv.ParseInt(m[1], 10, 64)
	return &n, err
}

// PageDefault and PageMost bound the items of a page.
const (
	PageDefault = 100
	PageMost    = 1000
)

// Cursor is a position in a list: the last row seen, and a hash of what list
// it is.
type Cursor struct {
	After []string  `json:"a,omitempty"`
	ID    uuid.UUID `json:"i"`
	Sum   string    `json:"s"`
}

// sum identifies a list with its position, so that a cursor that was
// altered, or that belongs to other filters, is noticed.
func (k Cursor) sum(path string, query url.Values) string {
	query = maps.Clone(query)
	for _, name := range []string{"key", "cursor", "limit", "fields"} {
		query.Del(name)
	}
	return HashTag(strings.TrimSuffix(path, ".csv"), query.Encode(), k.After, k.ID)
}

// Encode writes the cursor, bound to the request's filters and order.
func (k Cursor) Encode(c *gin.Context) string {
	k.Sum = k.sum(c.Request.URL.Path, c.Request.URL.Query())
	text, err := json.Marshal(k)
	if err != nil {
		return ""
	}
	return base64.RawURLEncoding.EncodeToString(text)
}

// IsStart reports that no position was sent.
func (k Cursor) IsStart() bool { return k.Sum == "" && k.ID == uuid.Nil }

// FromQuery reads a position.
func (k *Cursor) FromQuery(p *Params, name string) {
	text := p.Text(name)
	if text == "" {
		return
	}
	raw, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err == nil {
		err = json.Unmarshal(raw, k)
	}
	if err != nil || k.Sum != k.sum(p.path, p.Values) {
		*k = Cursor{}
		p.Err = cmp.Or(p.Err, BadCursor())
	}
}

// BadCursor refuses a position that no page gave.
func BadCursor() error {
	return BadParameter("cursor", "belongs to no page of this list; start again without it")
}

// IsAfterValue checks one value of a cursor: it goes to the database as the
// column's kind.
func IsAfterValue(column, value string) bool {
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

// Page is how a list goes out.
type Page[T any] struct {
	Items []T     `json:"items"`
	Next  *string `json:"next"` // the cursor of the next page; null: this was the last
}

// LinkNext tells where the next page is (RFC 8288).
func LinkNext(c *gin.Context, next string) {
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
	FormJSON = "json"
	FormCSV  = "csv"
)

// WantedForm decides by the path, then by Accept (RFC 9110 section 12.5.1; of
// several the one with the greatest weight, JSON before CSV).
func WantedForm(c *gin.Context) (string, error) {
	if strings.HasSuffix(c.Request.URL.Path, ".csv") {
		return FormCSV, nil
	}
	accept := c.GetHeader("Accept")
	json, csv := AcceptWeight(accept, "application", "json"), AcceptWeight(accept, "text", "csv")
	switch {
	case json == 0 && csv == 0:
		return "", Refuse(NotAcceptable, "Accept is %q; this comes as application/json or text/csv", Clip(accept, 60))
	case csv > json:
		return FormCSV, nil
	}
	return FormJSON, nil
}

// WantJSON refuses clients that take no JSON.
func WantJSON(c *gin.Context) error {
	if accept := c.GetHeader("Accept"); AcceptWeight(accept, "application", "json") == 0 {
		return Refuse(NotAcceptable, "Accept is %q; this comes as application/json", Clip(accept, 60))
	}
	return nil
}

// AcceptWeight is the weight of a media type; the most specific range decides.
func AcceptWeight(accept, kind, subtype string) float64 {
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
