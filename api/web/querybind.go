package web

import (
	"cmp"
	"reflect"
	"strconv"
	"strings"

	"github.com/gin-gonic/gin"

	"askwright/pricing"
)

// queryValue is a type of parameter with a way of its own to be read.
type queryValue interface {
	FromQuery(p *Params, name string)
}

// BindQuery reads the parameters of an address into a struct, by the tags that
// describe them: form is the name, enums the words of a closed list, default
// what stands for nothing. Beside these, cap is the number that greater ones
// are taken for, and min and max are the limits of what is not refused. The
// first fault stays in p; names that nobody asked for are found by p.done.
func BindQuery(p *Params, into any) {
	if own, ok := into.(queryValue); ok {
		own.FromQuery(p, "")
		return
	}
	v := reflect.ValueOf(into).Elem()
	for i := range v.NumField() {
		field := v.Type().Field(i)
		to := v.Field(i).Addr().Interface()
		if field.Anonymous {
			BindQuery(p, to)
			continue
		}
		p.bind(field, field.Tag.Get("form"), to)
	}
}

// ReadQuery is BindQuery of the whole address: what it does not know is refused.
func ReadQuery(c *gin.Context, into any) error {
	p := ParamsOf(c)
	BindQuery(p, into)
	return p.Done()
}

func (p *Params) bind(field reflect.StructField, name string, to any) {
	switch to := to.(type) {
	case queryValue:
		to.FromQuery(p, name)
	case *string:
		*to = p.word(field, name)
	case *bool:
		*to = p.Bool(name)
	case *pricing.Date:
		*to = p.Date(name)
	case *float64:
		*to, _ = p.Number(name)
	case *Decimal:
		*to = Decimal(p.Text(name))
	case *int:
		*to = p.wholeNumber(field, name)
	default:
		v := reflect.ValueOf(to).Elem()
		if v.Kind() != reflect.Pointer {
			panic("a parameter cannot be a " + field.Type.String())
		}
		if p.Text(name) != "" { // else it stays nil
			v.Set(reflect.New(v.Type().Elem()))
			p.bind(field, name, v.Interface())
		}
	}
}

func (p *Params) word(field reflect.StructField, name string) string {
	var text string
	if enums := field.Tag.Get("enums"); enums != "" {
		text = p.OneOf(name, strings.Split(enums, ",")...)
	} else {
		text = p.Text(name)
	}
	if text == "" {
		return field.Tag.Get("default")
	}
	return text
}

func (p *Params) wholeNumber(field reflect.StructField, name string) int {
	n := p.Count(name, tagNumber(field, "default", 0), tagNumber(field, "cap", 1<<31-1))
	least, most := tagNumber(field, "min", 1), tagNumber(field, "max", n)
	if n < least || n > most {
		p.Refuse(name, "expected %d to %d", least, most)
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

// fieldDelimiter stands between the cells of a CSV.
type fieldDelimiter string

// FromQuery reads the mark between cells.
func (d *fieldDelimiter) FromQuery(p *Params, name string) {
	switch sent := p.Text(name); {
	case sent == "tab" || p.Values.Get(name) == "\t":
		*d = "\t"
	case sent == ";" || sent == ",":
		*d = fieldDelimiter(sent)
	case sent != "":
		p.Refuse(name, "%q is not one of , ; tab", Clip(sent, 10))
	default:
		*d = ","
	}
}

// decimalMark is the mark in the numbers of a CSV.
type decimalMark string

// FromQuery reads the decimal mark.
func (d *decimalMark) FromQuery(p *Params, name string) {
	*d = decimalMark(cmp.Or(p.OneOf(name, ".", ","), "."))
}

// ColumnList are names of columns with commas between.
type ColumnList []string

// FromQuery reads names with commas between.
func (l *ColumnList) FromQuery(p *Params, name string) { *l = p.List(name) }
