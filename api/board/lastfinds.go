package board

import (
	"context"
	"encoding/base64"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/api/wire"
	"askwright/service"
	"askwright/service/advice"
)

// The last finds that were asked about stay on the device, to compare them and to
// go on from one of them.
const (
	lastCookie = "askwright_finds"
	lastMost   = 4
	lastBytes  = 3000 // of the cookie; browsers keep 4096
	lastAge    = 14 * 86400
)

// asked is a find that was asked about, with its limit of today.
type asked struct {
	Query string
	Cells service.Cells
	Limit wire.PurchaseLimit
}

// Name is what the find is, in few words.
func (a asked) Name() string {
	name := service.Joined(" ", inWords(a.Cells["condition"]), inWords(a.Cells["material"]), inWords(a.Cells["category"]))
	if width := a.Cells["width"]; width != "" {
		name += ", " + width
	}
	return name
}

// lastAsked are the queries that the device keeps, the newest first.
func lastAsked(c *gin.Context) (queries []string) {
	text, err := c.Cookie(lastCookie)
	if err != nil {
		return nil
	}
	packed, err := base64.RawURLEncoding.DecodeString(text)
	if err != nil || len(packed) == 0 {
		return nil
	}
	queries = strings.Split(string(packed), "\n")
	return queries[:min(len(queries), lastMost)]
}

// remember puts a query in front of those that the device keeps.
func remember(c *gin.Context, cells service.Cells) {
	q := url.Values{}
	for name, value := range cells {
		q.Set(name, value)
	}
	queries := slices.DeleteFunc(lastAsked(c), func(old string) bool { return old == q.Encode() })
	queries = slices.Insert(queries, 0, q.Encode())
	for len(queries) > lastMost || len(strings.Join(queries, "\n")) > lastBytes*3/4 {
		queries = queries[:len(queries)-1]
	}
	http.SetCookie(c.Writer, &http.Cookie{ //nolint:gosec // no secret: what was typed into the form
		Name: lastCookie, Value: base64.RawURLEncoding.EncodeToString([]byte(strings.Join(queries, "\n"))), Path: "/board", MaxAge: lastAge,
		HttpOnly: true, SameSite: http.SameSiteLaxMode,
	})
}

// lastFinds are the last finds with their limits. What cannot be read any more is
// left out.
func (s *Board) lastFinds(ctx context.Context, c *gin.Context, a *service.Actor) []asked {
	var out []asked
	for _, query := range lastAsked(c) {
		sent, err := url.ParseQuery(query)
		if err != nil {
			continue
		}
		cells := filled(slices.Concat(findFields, findMore), "", sent)
		found, err := s.app.Advice.PurchaseLimits(ctx, a, []service.Cells{cells}, advice.PurchaseTarget{})
		if err != nil {
			continue
		}
		out = append(out, asked{Query: query, Cells: cells, Limit: wire.ViewerOf(a).PurchaseLimit(found.Limits[0])})
	}
	return out
}
