package web

import (
	"fmt"
	"maps"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"
	"github.com/google/uuid"

	"askwright/api/renamed"
	"askwright/pricing"
	"askwright/service"
)

// Params reads the query of an address. The first fault is kept; what nobody
// asked for is one, too.
type Params struct {
	Values url.Values
	path   string
	known  []string
	Err    error
}

// ParamsOf reads the parameters of the address.
func ParamsOf(c *gin.Context) *Params {
	values, err := url.ParseQuery(c.Request.URL.RawQuery)
	p := &Params{Values: values, path: c.Request.URL.Path}
	if err != nil {
		p.Err = Refuse(Malformed, "the query of the address cannot be read: a %% must be followed by two hexadecimal digits")
	}
	for _, name := range slices.Sorted(maps.Keys(values)) {
		switch all := values[name]; {
		case len(all) > 1:
			p.Refuse(name, "stands twice; several values go into one, with commas between")
		case invalidUTF8([]byte(all[0])) >= 0 || strings.ContainsRune(all[0], 0):
			p.Refuse(name, "holds bytes that are no text")
		case len(all[0]) > 2000:
			p.Refuse(name, "is longer than 2000 characters")
		}
	}
	return p
}

// Refuse notes what is wrong with a parameter; the first fault stays.
func (p *Params) Refuse(name, format string, args ...any) {
	if p.Err == nil {
		p.Err = BadParameter(name, format, args...)
	}
}

// RefuseWord notes that a value is not on a closed list.
func (p *Params) RefuseWord(name, word string, allowed []string) {
	if p.Err == nil {
		p.Err = wrongParameter(service.FaultOf(name, service.NotAllowed(word, allowed)))
	}
}

// Has notes that the name is known and reports whether it was sent.
func (p *Params) Has(name string) bool {
	p.known = append(p.known, name)
	return p.Values.Has(name)
}

// Text is a parameter without the blanks around it.
func (p *Params) Text(name string) string {
	p.Has(name)
	return strings.TrimSpace(p.Values.Get(name))
}

// List reads values with commas between.
func (p *Params) List(name string) []string {
	text := p.Text(name)
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

// OneOf reads a word of a closed list; "" when it was not sent.
func (p *Params) OneOf(name string, allowed ...string) string {
	word := p.Text(name)
	if word != "" && !slices.Contains(allowed, word) {
		p.RefuseWord(name, word, allowed)
	}
	return word
}

// Bool is a parameter that is true or false.
func (p *Params) Bool(name string) bool { return p.OneOf(name, "true", "false") == "true" }

// Date is a parameter that is a day; zero: it was not sent.
func (p *Params) Date(name string) pricing.Date {
	text := p.Text(name)
	if text == "" {
		return 0
	}
	d, err := pricing.ParseDate(text)
	if err != nil {
		p.Refuse(name, "%q is not a day like 2026-03-05", Clip(text, 40))
	}
	return d
}

// Count reads a whole number of at least 1.
func (p *Params) Count(name string, otherwise, most int) int {
	text := p.Text(name)
	if text == "" {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 1 {
		p.Refuse(name, "%q is not a whole number of 1 or more", Clip(text, 40))
		return otherwise
	}
	return min(n, most)
}

var plainNumber = regexp.MustCompile(`^-?\d{1,15}(\.\d{1,6})?$`)

// Number is a parameter that is a number, and whether it was sent.
func (p *Params) Number(name string) (float64, bool) {
	text := p.Text(name)
	if text == "" {
		return 0, false
	}
	if !plainNumber.MatchString(text) {
		p.Refuse(name, "%q is not a plain number such as 480.50", Clip(text, 40))
		return 0, false
	}
	f, err := strconv.ParseFloat(text, 64)
	return f, err == nil
}

// Fields reads which columns are wanted, of those that there are.
func (p *Params) Fields(all []string) []string {
	wanted := p.List("fields")
	p.checkFields(wanted, all)
	return wanted
}

// checkFields refuses what is not among the columns that there are.
func (p *Params) checkFields(wanted, all []string) {
	for _, name := range wanted {
		if !slices.Contains(all, name) {
			p.refuseColumn(name, all)
		}
	}
}

// refuseColumn refuses a column that a table does not have.
func (p *Params) refuseColumn(name string, all []string) {
	if p.Err != nil {
		return
	}
	f := UnknownName(renamed.Column, name, "is no column", renamed.Among(all), NearestName(name, all))
	if f.Code != CodeRenamed {
		f = UnknownName(renamed.Answer, name, "is no column", renamed.Among(all), f.Nearest)
	}
	f.Column, f.Reason = "fields", fmt.Sprintf("%q %s", Clip(name, 40), f.Reason)
	p.Err = wrongParameter(f)
}

// Done returns the first fault: a wrong value, or a name that is not known.
func (p *Params) Done() error {
	for _, name := range slices.Sorted(maps.Keys(p.Values)) {
		if name != "key" && !slices.Contains(p.known, name) {
			p.unknown(name)
		}
	}
	return p.Err
}

// unknown refuses a parameter that nobody asked for.
func (p *Params) unknown(name string) {
	isKnown := func(now string) bool {
		return slices.Contains(p.known, now) || strings.HasPrefix(now, "/") && p.movedTo(name)
	}
	if p.Err == nil {
		p.Err = wrongParameter(UnknownName(renamed.Parameter, name, "is not known here", isKnown, NearestName(name, p.known)))
	}
}

// movedTo reports whether a parameter of this very address became an address of
// its own.
func (p *Params) movedTo(name string) bool {
	return slices.ContainsFunc(renamed.Names, func(n renamed.Name) bool {
		return n.Kind == renamed.Parameter && n.Was == name && n.Where == strings.TrimSuffix(p.path, ".csv")
	})
}

// PathID reads the id in a path.
func PathID(c *gin.Context) (uuid.UUID, error) { return IDAt(c, "id") }

// IDAt reads an id at a place in a path. What is no id is not there.
func IDAt(c *gin.Context, name string) (uuid.UUID, error) {
	id, err := ParseID(c.Param(name))
	if err != nil {
		return uuid.Nil, Refuse(NotFound, "there is nothing with the id %q", Clip(c.Param(name), 60))
	}
	return id, nil
}

// ParseID reads an id as it is written in answers, and in no other way. The id
// of zeros, which a program sends that never set its variable, is none: inside,
// it often stands for "any".
func ParseID(text string) (uuid.UUID, error) {
	id, err := uuid.Parse(text)
	if err == nil && (id == uuid.Nil || id.String() != strings.ToLower(text)) {
		return uuid.Nil, Refuse(Malformed, "not an id")
	}
	return id, err
}
