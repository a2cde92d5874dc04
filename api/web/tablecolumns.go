package web

import (
	"fmt"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// ColumnsOf makes the columns of a table of T from names of its JSON fields
// with spaces between. A column that is called otherwise, or that lies deeper,
// is written name=field or name=field.field: of a list that is the first one's.
// What a cell is follows from the field's type and the tags that describe it;
// a csv tag says what they cannot: money, plain or embedded. An absent value,
// and a zero that JSON leaves out, is an empty cell.
//
// Names are looked up once: one that is no field stops the program at its start.
func ColumnsOf[T any](names string) []TableColumn[T] {
	var out []TableColumn[T]
	for name := range strings.FieldsSeq(names) {
		name, path, ok := strings.Cut(name, "=")
		if !ok {
			path = name
		}
		steps := fieldSteps(reflect.TypeFor[T](), path)
		last := steps[len(steps)-1]
		value := func(v T) string { return cellAt(reflect.ValueOf(v), steps) }
		out = append(out, TableColumn[T]{name, kindOfCell(last), value})
	}
	return out
}

// fieldSteps finds the fields on a path of JSON names.
func fieldSteps(t reflect.Type, path string) []reflect.StructField {
	var steps []reflect.StructField
	for name := range strings.SplitSeq(path, ".") {
		if t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
			t = t.Elem()
		}
		fields := reflect.VisibleFields(t)
		i := slices.IndexFunc(fields, func(f reflect.StructField) bool { return jsonName(f) == name })
		if i < 0 {
			panic(fmt.Sprintf("a table names %s, which %s does not have", path, t))
		}
		steps = append(steps, fields[i])
		t = fields[i].Type
	}
	return steps
}

func jsonName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

func kindOfCell(f reflect.StructField) CellKind {
	switch f.Tag.Get("csv") {
	case "money":
		return MoneyCell
	case "plain":
		return PlainCell
	case "embedded":
		return EmbeddedCell
	}
	t := f.Type
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	isText := t.Kind() == reflect.String || t == reflect.TypeFor[[]string]()
	switch {
	case t == reflect.TypeFor[Number](), t.Kind() == reflect.Int:
		return NumberCell
	case isText && f.Tag.Get("format") == "" && f.Tag.Get("enums") == "":
		return TextCell
	}
	return PlainCell
}

func cellAt(v reflect.Value, steps []reflect.StructField) string {
	for _, step := range steps {
		switch v.Kind() {
		case reflect.Pointer:
			if v.IsNil() {
				return ""
			}
			v = v.Elem()
		case reflect.Slice:
			if v.Len() == 0 {
				return ""
			}
			v = v.Index(0)
		}
		v = v.FieldByIndex(step.Index)
		if v.IsZero() && strings.HasSuffix(step.Tag.Get("json"), ",omitempty") {
			return ""
		}
	}
	return cellText(v)
}

// coder is part of a list that stands in one cell.
type coder interface{ InCell() string }

func cellText(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case bool:
		return strconv.FormatBool(x)
	case int:
		return strconv.Itoa(x)
	case int64:
		return strconv.FormatInt(x, 10)
	case uuid.UUID:
		return x.String()
	case time.Time:
		return Instant(x)
	case coder:
		return x.InCell()
	}
	switch v.Kind() {
	case reflect.String:
		return v.String()
	case reflect.Slice:
		parts := make([]string, v.Len())
		for i := range parts {
			parts[i] = cellText(v.Index(i))
		}
		return strings.Join(parts, ";")
	}
	panic(fmt.Sprintf("%s does not go into a cell", v.Type()))
}
