package api

import (
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/pricing"
	"askwright/service"
)

// params reads the query of an address. The first fault is kept; what nobody
// asked for is one, too.
type params struct {
	values url.Values
	known  []string
	err    error
}

func paramsOf(c *gin.Context) *params {
	values, err := url.ParseQuery(c.Request.URL.RawQuery)
	p := &params{values: values}
	if err != nil {
		p.err = refuse(malformed, "the query of the address cannot be read: a %% must be followed by two hexadecimal digits")
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		switch all := values[name]; {
		case len(all) > 1:
			p.refuse(name, "stands twice; several values go into one, with commas between")
		case invalidUTF8([]byte(all[0])) >= 0 || strings.ContainsRune(all[0], 0):
			p.refuse(name, "holds bytes that are no text")
		case len(all[0]) > 2000:
			p.refuse(name, "is longer than 2000 characters")
		}
	}
	return p
}

func (p *params) refuse(name, format string, args ...any) {
	if p.err == nil {
		p.err = badParameter(name, format, args...)
	}
}

// has notes that the name is known and reports whether it was sent.
func (p *params) has(name string) bool {
	p.known = append(p.known, name)
	return p.values.Has(name)
}

func (p *params) text(name string) string {
	p.has(name)
	return strings.TrimSpace(p.values.Get(name))
}

// list reads values with commas between.
func (p *params) list(name string) []string {
	text := p.text(name)
	if text == "" {
		return nil
	}
	var out []string
	for part := range strings.SplitSeq(text, ",") {
		if part = strings.TrimSpace(part); part != "" {
			out = append(out, part)
		}
	}
	return out
}

// oneOf reads a word of a closed list; "" when it was not sent.
func (p *params) oneOf(name string, allowed ...string) string {
	word := p.text(name)
	if word != "" && !slices.Contains(allowed, word) {
		p.refuse(name, "%q is not one of %s", clip(word, 40), strings.Join(allowed, ", "))
	}
	return word
}

func (p *params) bool(name string) bool { return p.oneOf(name, "true", "false") == "true" }

func (p *params) date(name string) pricing.Date {
	text := p.text(name)
	if text == "" {
		return 0
	}
	d, err := pricing.ParseDate(text)
	if err != nil {
		p.refuse(name, "%q is not a day like 2026-03-05", clip(text, 40))
	}
	return d
}

// count reads a whole number of at least 1.
func (p *params) count(name string, otherwise, most int) int {
	text := p.text(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		p.refuse(name, "%q is not a whole number of 1 or more", clip(text, 40))
		return otherwise
	}
	return min(n, most)
}

var plainNumber = regexp.MustCompile(`^-?\d{1,15}(\.\d{1,6})?$`)

func (p *params) number(name string) (float64, bool) {
	text := p.text(name)
	if text == "" {
		return 0, false
	}
	if !plainNumber.MatchString(text) {
		p.refuse(name, "%q is not a plain number such as 480.50", clip(text, 40))
		return 0, false
	}
	f, err := strconv.ParseFloat(text, 64)
	return f, err == nil
}

// fields reads which columns are wanted, of those that there are.
func (p *params) fields(all []string) []string {
	wanted := p.list("fields")
	p.checkFields(wanted, all)
	return wanted
}

// checkFields refuses what is not among the columns that there are.
func (p *params) checkFields(wanted, all []string) {
	for _, name := range wanted {
		if !slices.Contains(all, name) {
			p.refuse("fields", "%q is no column%s", clip(name, 40), didYouMean(nearestName(name, all)))
		}
	}
}

// done returns the first fault: a wrong value, or a name that is not known.
func (p *params) done() error {
	for _, name := range slices.Sorted(maps.Keys(p.values)) {
		if name != "key" && !slices.Contains(p.known, name) {
			p.refuse(clip(name, 40), "is not known here%s", didYouMean(nearestName(name, p.known)))
		}
	}
	return p.err
}

// nearestName is the name that was probably meant, or "".
func nearestName(name string, known []string) string {
	return service.Nearest(service.CanonicalWord(clip(name, 60)), known)
}

func keysOf(m map[string]int) []string { return slices.Sorted(maps.Keys(m)) }

// memberFilter reads which member is meant; zero: everybody.
func (s *Server) memberFilter(c *gin.Context, a *service.Actor, p *params) (uuid.UUID, error) {
	return s.memberNamed(request{Context: c, actor: a}, p.text("member"))
}

// memberNamed resolves me, an id or a name; zero: everybody.
func (s *Server) memberNamed(r request, who string) (uuid.UUID, error) {
	switch who {
	case "":
		return uuid.Nil, nil
	case "me":
		return r.actor.MemberID, nil
	}
	members, err := s.service.Members.Members(r.Request.Context(), r.actor)
	if err != nil {
		return uuid.Nil, err
	}
	for _, m := range members {
		if m.ID.String() == who || strings.EqualFold(m.Name, who) {
			return m.ID, nil
		}
	}
	return uuid.Nil, badParameter("member", "nobody here is called %q; give me, an id or a name", clip(who, 40))
}

// pathID reads the id in a path. What is no id is not there.
func pathID(c *gin.Context) (uuid.UUID, error) {
	id, err := parseID(c.Param("id"))
	if err != nil {
		return uuid.Nil, refuse(notFound, "there is nothing with the id %q", clip(c.Param("id"), 60))
	}
	return id, nil
}

// parseID reads an id as it is written in answers, and in no other way.
func parseID(text string) (uuid.UUID, error) {
	id, err := uuid.Parse(text)
	if err == nil && id.String() != strings.ToLower(text) {
		return uuid.Nil, refuse(malformed, "not an id")
	}
	return id, err
}
