package api

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
)

// Columns of a table are fields of the struct that the JSON is written from,
// found once when the program begins.

// celled is a type that says itself how it stands in a cell.
type celled interface{ cell() string }

// columnsOf describes a table of T by the names of its columns, with spaces
// between. A name is that of a field in JSON; column=path takes a field further
// in, such as plan.finish or choices.0.ask. special columns are not fields.
//
// A field is text unless its type or its tag says more: csv:"money" is an amount
// in the group's currency. What JSON leaves out as empty is an empty cell.
func columnsOf[T any](names string, special ...tableColumn[T]) []tableColumn[T] {
	var columns []tableColumn[T]
next:
	for word := range strings.FieldsSeq(names) {
		name, path, isElsewhere := strings.Cut(word, "=")
		if !isElsewhere {
			path = name
		}
		for _, s := range special {
			if s.name == name {
				columns = append(columns, s)
				continue next
			}
		}
		read, kind := cellAt(reflect.TypeFor[T](), strings.Split(path, "."), "")
		columns = append(columns, tableColumn[T]{name: name, kind: kind, value: func(v T) string { return read(reflect.ValueOf(v)) }})
	}
	return columns
}

// cellAt finds how the value at a path below t is written; tag is that of the
// field that holds it.
func cellAt(t reflect.Type, path []string, tag reflect.StructTag) (func(reflect.Value) string, cellKind) {
	if len(path) == 0 {
		return cellOf(t, tag)
	}
	switch t.Kind() {
	case reflect.Pointer:
		read, kind := cellAt(t.Elem(), path, tag)
		return orEmpty(read), kind
	case reflect.Slice:
		i, err := strconv.Atoi(path[0])
		if err != nil {
			break
		}
		read, kind := cellAt(t.Elem(), path[1:], tag)
		return func(v reflect.Value) string {
			if i >= v.Len() {
				return ""
			}
			return read(v.Index(i))
		}, kind
	case reflect.Struct:
		for _, f := range reflect.VisibleFields(t) {
			if jsonName(f) == path[0] {
				read, kind := cellAt(f.Type, path[1:], f.Tag)
				return func(v reflect.Value) string { return read(v.FieldByIndex(f.Index)) }, kind
			}
		}
	}
	panic(fmt.Sprintf("api: %s has no %s for a table", t, path[0]))
}

func jsonName(f reflect.StructField) string {
	name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
	return name
}

// orEmpty reads through a pointer.
func orEmpty(read func(reflect.Value) string) func(reflect.Value) string {
	return func(v reflect.Value) string {
		if v.IsNil() {
			return ""
		}
		return read(v.Elem())
	}
}

// cellOf is how a value of a type is written.
func cellOf(t reflect.Type, tag reflect.StructTag) (func(reflect.Value) string, cellKind) {
	read, kind := plainCellOf(t, tag)
	if tag.Get("csv") == "money" {
		kind = moneyCell
	}
	if !strings.HasSuffix(tag.Get("json"), ",omitempty") || t.Kind() != reflect.Int {
		return read, kind
	}
	return func(v reflect.Value) string {
		if v.IsZero() {
			return ""
		}
		return read(v)
	}, kind
}

func plainCellOf(t reflect.Type, tag reflect.StructTag) (func(reflect.Value) string, cellKind) {
	switch {
	case t.Kind() == reflect.Pointer:
		read, kind := plainCellOf(t.Elem(), tag)
		return orEmpty(read), kind
	case t.Implements(reflect.TypeFor[celled]()):
		return func(v reflect.Value) string { return v.Interface().(celled).cell() }, embeddedCell //nolint:forcetypeassert // it implements it
	case t == reflect.TypeFor[number]():
		return reflect.Value.String, numberCell
	case t == reflect.TypeFor[uuid.UUID]():
		return func(v reflect.Value) string { return v.Interface().(uuid.UUID).String() }, plainCell //nolint:forcetypeassert // it is one
	case t == reflect.TypeFor[time.Time]():
		return func(v reflect.Value) string { return instant(v.Interface().(time.Time)) }, plainCell //nolint:forcetypeassert // it is one
	}
	switch t.Kind() {
	case reflect.String:
		if tag.Get("format") != "" || tag.Get("enums") != "" {
			return reflect.Value.String, plainCell
		}
		return reflect.Value.String, textCell
	case reflect.Int, reflect.Int64:
		return func(v reflect.Value) string { return strconv.FormatInt(v.Int(), 10) }, numberCell
	case reflect.Bool:
		return func(v reflect.Value) string { return strconv.FormatBool(v.Bool()) }, plainCell
	case reflect.Slice:
		read, kind := cellOf(t.Elem(), "")
		return func(v reflect.Value) string {
			parts := make([]string, v.Len())
			for i := range parts {
				parts[i] = read(v.Index(i))
			}
			return strings.Join(parts, ";")
		}, kind
	}
	panic(fmt.Sprintf("api: no way to write %s into a cell", t))
}
