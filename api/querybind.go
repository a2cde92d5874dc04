package api

import (
	"cmp"
	"net/http"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/pricing"
	"askwright/service"
	"askwright/service/advice"
)

// request is who asks, and with what.
type request struct {
	*gin.Context
	actor *service.Actor
}

// queryValue is a type of parameter with a way of its own to be read.
type queryValue interface {
	fromQuery(p *params, name string)
}

// bindQuery reads the parameters of an address into a struct, by the tags that
// describe them: form is the name, enums the words of a closed list, default
// what stands for nothing. Beside these, cap is the number that greater ones
// are taken for, and min and max are the limits of what is not refused. The
// first fault stays in p; names that nobody asked for are found by p.done.
func bindQuery(p *params, into any) {
	if own, ok := into.(queryValue); ok {
		own.fromQuery(p, "")
		return
	}
	v := reflect.ValueOf(into).Elem()
	for i := range v.NumField() {
		field := v.Type().Field(i)
		to := v.Field(i).Addr().Interface()
		if field.Anonymous {
			bindQuery(p, to)
			continue
		}
		p.bind(field, field.Tag.Get("form"), to)
	}
}

// readQuery is bindQuery of the whole address: what it does not know is refused.
func readQuery(c *gin.Context, into any) error {
	p := paramsOf(c)
	bindQuery(p, into)
	return p.done()
}

func (p *params) bind(field reflect.StructField, name string, to any) {
	switch to := to.(type) {
	case queryValue:
		to.fromQuery(p, name)
	case *string:
		*to = p.word(field, name)
	case *bool:
		*to = p.bool(name)
	case *pricing.Date:
		*to = p.date(name)
	case *float64:
		*to, _ = p.number(name)
	case *int:
		*to = p.wholeNumber(field, name)
	default:
		panic("a parameter cannot be a " + field.Type.String())
	}
}

func (p *params) word(field reflect.StructField, name string) string {
	text := ""
	if enums := field.Tag.Get("enums"); enums != "" {
		text = p.oneOf(name, strings.Split(enums, ",")...)
	} else {
		text = p.text(name)
	}
	if text == "" {
		return field.Tag.Get("default")
	}
	return text
}

func (p *params) wholeNumber(field reflect.StructField, name string) int {
	n := p.count(name, tagNumber(field, "default", 0), tagNumber(field, "cap", 1<<31-1))
	least, most := tagNumber(field, "min", 1), tagNumber(field, "max", n)
	if n < least || n > most {
		p.refuse(name, "expected %d to %d", least, most)
	}
	return n
}

// tagNumber is a number that stands in a tag.
func tagNumber(field reflect.StructField, tag string, otherwise int) int {
	text, ok := field.Tag.Lookup(tag)
	if !ok {
		return otherwise
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		panic("the tag " + tag + " of the parameter " + field.Name + " is no number")
	}
	return n
}

// listEndpoint answers with a list that is computed as a whole, as JSON or CSV.
// The parameters are read into In, wrong ones refused, and the list is not
// made for a client that has it.
func listEndpoint[In, Out any](s *Server, filename string,
	columns []tableColumn[Out], list func(request, In) ([]Out, error)) handler {
	return func(c *gin.Context, a *service.Actor) error {
		form, err := wantedForm(c)
		if err != nil {
			return err
		}
		r, p := request{Context: c, actor: a}, paramsOf(c)
		var in In
		bindQuery(p, &in)
		options := csvParams(p, form, columnNames(columns))
		if err := p.done(); err != nil {
			return err
		}
		if notModified(c, s.listTag(c, a, form)) {
			return nil
		}
		items, err := list(r, in)
		if err != nil {
			return inQuery(err)
		}
		if form == formJSON {
			return answer(c, http.StatusOK, page[Out]{Items: items})
		}
		return writeTable(c, filename, columns, options, items)
	}
}

// openStates are states of open listings, with commas between.
type openStates []string

func (l *openStates) fromQuery(p *params, name string) {
	*l = p.list(name)
	for _, state := range *l {
		if !slices.Contains(advice.ListingStates, state) {
			p.refuse(name, "%q is not one of %s", clip(state, 40), strings.Join(advice.ListingStates, ", "))
		}
	}
}

// fieldDelimiter stands between the cells of a CSV.
type fieldDelimiter string

func (d *fieldDelimiter) fromQuery(p *params, name string) {
	switch sent := p.text(name); {
	case sent == "tab" || p.values.Get(name) == "\t":
		*d = "\t"
	case sent == ";" || sent == ",":
		*d = fieldDelimiter(sent)
	case sent != "":
		p.refuse(name, "%q is not one of , ; tab", clip(sent, 10))
	default:
		*d = ","
	}
}

// decimalMark is the mark in the numbers of a CSV.
type decimalMark string

func (d *decimalMark) fromQuery(p *params, name string) {
	*d = decimalMark(cmp.Or(p.oneOf(name, ".", ","), "."))
}

// columnList are names of columns with commas between.
type columnList []string

func (l *columnList) fromQuery(p *params, name string) { *l = p.list(name) }
