package wire

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	html "html/template"
	"strconv"
	"strings"
	text "text/template"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/web"
	"askwright/service/advice"
)

// Digest is what to know in the morning.
type Digest struct {
	Group      string       `json:"group"`
	Today      string       `json:"today" format:"date"`
	Currency   string       `json:"currency" example:"USD"`
	Open       OpenCount    `json:"open"`
	GroupPulse *web.Number  `json:"group_pulse" swaggertype:"number" example:"0.8"` // messages on all listings of the last 28 days against usual; null: too few to tell
	Quiet      bool         `json:"quiet"`                                          // the whole group is slow
	Stale      []Review     `json:"stale"`                                          // the most urgent ones, as in /v1/stale
	MoreStale  int          `json:"more_stale"`                                     // that are not shown
	Sold       []DigestSale `json:"sold"`                                           // in the last 7 days, newest first
	MoreSold   int          `json:"more_sold"`
	Paused     []LongPause  `json:"paused"` // for 14 days or more, longest first
	MorePaused int          `json:"more_paused"`
	Record     []Sentence   `json:"record"` // how the advice did, as in /v1/model/record
}

// OpenCount counts the listings on offer by state.
type OpenCount struct {
	Stale  int `json:"stale"`
	Slow   int `json:"slow"`
	Fresh  int `json:"fresh"`
	Paused int `json:"paused"`
}

// All is their sum.
func (o OpenCount) All() int { return o.Stale + o.Slow + o.Fresh + o.Paused }

// DigestSale is a listing that sold.
type DigestSale struct {
	Ref        string     `json:"ref"`
	ID         uuid.UUID  `json:"id" format:"uuid"`
	Member     string     `json:"member"`
	What       string     `json:"what" example:"walnut sideboard"`
	EndedOn    string     `json:"ended_on" format:"date"`
	ActiveDays int        `json:"active_days"`
	Ask        web.Number `json:"ask" swaggertype:"number"` // the last one
	SalePrice  web.Number `json:"sale_price" swaggertype:"number"`
}

// LongPause is a listing that nobody could collect for long.
type LongPause struct {
	Ref      string    `json:"ref"`
	ID       uuid.UUID `json:"id" format:"uuid"`
	Member   string    `json:"member"`
	What     string    `json:"what" example:"walnut sideboard"`
	PausedOn string    `json:"paused_on" format:"date"`
	Until    string    `json:"until,omitempty" format:"date"` // absent: not told
	Days     int       `json:"days"`                          // so far
}

// Digest shows the digest.
func (v Viewer) Digest(d *advice.Digest) Digest {
	out := Digest{
		Group: d.Group, Today: d.Today.String(), Currency: v.Currency.Code,
		Open:       OpenCount{Stale: d.Open["stale"], Slow: d.Open["slow"], Fresh: d.Open["fresh"], Paused: d.Open["paused"]},
		GroupPulse: Pulse(d.Pulse), Quiet: d.Quiet, Stale: web.Each(d.Stale, v.Review), MoreStale: d.MoreStale,
		Sold: make([]DigestSale, len(d.Sold)), MoreSold: d.MoreSold, Paused: make([]LongPause, len(d.Paused)), MorePaused: d.MorePaused, Record: Sentences(d.Record),
	}
	for i, s := range d.Sold {
		out.Sold[i] = DigestSale{
			Ref: s.Row.Ref, ID: s.Row.ID, Member: s.Row.Member, What: s.What(), EndedOn: s.Row.EndedOn.String(), ActiveDays: s.ActiveDays,
			Ask: web.Exact(s.Row.CurrentAsk(), v.Currency), SalePrice: web.Exact(s.Row.SalePrice, v.Currency),
		}
	}
	for i, p := range d.Paused {
		out.Paused[i] = LongPause{Ref: p.Row.Ref, ID: p.Row.ID, Member: p.Row.Member, What: p.What(), PausedOn: p.Since.String(), Days: p.Days}
		if !p.Until.IsZero() {
			out.Paused[i].Until = p.Until.String()
		}
	}
	return out
}

var (
	//go:embed digest.txt
	digestLines string
	//go:embed digest.html
	digestPage string
)

// The digest in words, from the same answer as the JSON.
var (
	digestWords = map[string]any{
		"words": func(s string) string { return strings.ReplaceAll(s, "_", " ") },
		"days": func(n int) string {
			if n == 1 {
				return "1 active day"
			}
			return strconv.Itoa(n) + " active days"
		},
		"said": Said,
	}
	DigestText   = text.Must(text.New("digest.txt").Funcs(digestWords).Parse(digestLines))
	DigestHTML   = html.Must(html.New("digest.html").Funcs(digestWords).Parse(digestPage))
	DigestPolicy = "default-src 'none'; style-src '" + styleHash(digestPage) + "'; frame-ancestors 'none'"
)

// styleHash lets a page apply its own style sheet and no other (W3C, Content
// Security Policy Level 3, section 2.3.1).
func styleHash(page string) string {
	_, style, _ := strings.Cut(page, "<style>")
	style, _, _ = strings.Cut(style, "</style>")
	sum := sha256.Sum256([]byte(style))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

// FormText and FormHTML are the forms of the digest beside JSON.
const (
	FormText = "text"
	FormHTML = "html"
)

// DigestForm decides by the path, then by Accept: JSON before text before HTML.
func DigestForm(c *gin.Context) (string, error) {
	for suffix, form := range map[string]string{".txt": FormText, ".html": FormHTML} {
		if strings.HasSuffix(c.Request.URL.Path, suffix) {
			return form, nil
		}
	}
	accept := c.GetHeader("Accept")
	best, form := 0.0, ""
	for _, f := range []struct{ form, kind, subtype string }{{web.FormJSON, "application", "json"}, {FormText, "text", "plain"}, {FormHTML, "text", "html"}} {
		if weight := web.AcceptWeight(accept, f.kind, f.subtype); weight > best {
			best, form = weight, f.form
		}
	}
	if form == "" {
		return "", web.Refuse(web.NotAcceptable, "Accept is %q; this comes as application/json, text/plain or text/html", web.Clip(accept, 60))
	}
	return form, nil
}

// DigestQuery is what the digest can be asked for.
type DigestQuery struct {
	Member string `form:"member"` // me, an id or a name; default: everybody
}
