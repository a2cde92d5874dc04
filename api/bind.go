package api

import (
	"fmt"
	"reflect"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"askwright/service"
)

// Decimal is a number as it was written, from a JSON number or a string.
type Decimal string

// binder decodes nodes and gathers what is wrong.
type binder struct{ wrong []service.FieldError }

// nodeReader is a type that reads itself from a node and leaves with the binder
// what is wrong with it.
type nodeReader interface {
	readNode(b *binder, n node, pointer string)
}

// decode puts a value into target: a pointer to a struct with json tags, or
// to Cells. Unlike encoding/json it knows names only as they are written,
// refuses unknown ones, and says where and what is wrong.
func decode(n node, target any) error {
	b := &binder{}
	b.set(n, reflect.ValueOf(target).Elem(), "")
	if b.wrong != nil {
		return &service.InvalidError{Fields: b.wrong}
	}
	return nil
}

func (b *binder) refuse(pointer, format string, args ...any) {
	column := pointer[strings.LastIndexByte(pointer, '/')+1:]
	b.wrong = append(b.wrong, service.FieldError{Pointer: pointer, Column: column, Reason: fmt.Sprintf(format, args...)})
}

// want reports whether the value is of one of the kinds.
func (b *binder) want(n node, pointer string, kinds ...nodeKind) bool {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		if n.kind == k {
			return true
		}
		names[i] = k.String()
	}
	b.refuse(pointer, "is %s; expected %s", n.kind, strings.Join(names, " or "))
	return false
}

func (b *binder) set(n node, v reflect.Value, pointer string) {
	switch target := v.Addr().Interface().(type) {
	case nodeReader:
		target.readNode(b, n, pointer)
		return
	case *Decimal:
		if b.want(n, pointer, numberNode, stringNode) {
			*target = Decimal(strings.TrimSpace(n.text))
		}
		return
	case *time.Time:
		b.setTime(n, target, pointer)
		return
	case *uuid.UUID:
		b.setID(n, target, pointer)
		return
	}
	switch v.Kind() {
	case reflect.Pointer:
		if n.kind == nullNode {
			return
		}
		v.Set(reflect.New(v.Type().Elem()))
		b.set(n, v.Elem(), pointer)
	case reflect.String:
		if b.want(n, pointer, stringNode) {
			v.SetString(n.text)
		}
	case reflect.Bool:
		if b.want(n, pointer, boolNode) {
			v.SetBool(n.text == "true")
		}
	case reflect.Int:
		b.setInt(n, v, pointer)
	case reflect.Float64:
		b.setFloat(n, v, pointer)
	case reflect.Slice:
		b.setSlice(n, v, pointer)
	case reflect.Struct:
		b.setStruct(n, v, pointer)
	default:
		panic(fmt.Sprintf("api: no way to decode into %s", v.Type()))
	}
}

func (b *binder) setTime(n node, target *time.Time, pointer string) {
	if !b.want(n, pointer, stringNode) {
		return
	}
	t, err := time.Parse(time.RFC3339, n.text)
	if err != nil {
		b.refuse(pointer, "%q is not an instant like 2026-03-05T09:30:00Z", clip(n.text, 40))
		return
	}
	*target = t
}

func (b *binder) setID(n node, target *uuid.UUID, pointer string) {
	if !b.want(n, pointer, stringNode) {
		return
	}
	id, err := parseID(n.text)
	if err != nil {
		b.refuse(pointer, "%q is not an id", clip(n.text, 40))
		return
	}
	*target = id
}

func (b *binder) setInt(n node, v reflect.Value, pointer string) {
	if !b.want(n, pointer, numberNode) {
		return
	}
	i, err := strconv.Atoi(n.text)
	if err != nil {
		b.refuse(pointer, "%s is not a whole number", clip(n.text, 40))
		return
	}
	v.SetInt(int64(i))
}

// setFloat is for shares and hours; money is a Decimal.
func (b *binder) setFloat(n node, v reflect.Value, pointer string) {
	if !b.want(n, pointer, numberNode) {
		return
	}
	f, err := strconv.ParseFloat(n.text, 64)
	if err != nil {
		b.refuse(pointer, "%s is out of range", clip(n.text, 40))
		return
	}
	v.SetFloat(f)
}

func (b *binder) setSlice(n node, v reflect.Value, pointer string) {
	if !b.want(n, pointer, arrayNode) {
		return
	}
	v.Set(reflect.MakeSlice(v.Type(), len(n.items), len(n.items)))
	for i, item := range n.items {
		b.set(item, v.Index(i), pointer+"/"+strconv.Itoa(i))
	}
}

func (b *binder) setStruct(n node, v reflect.Value, pointer string) {
	if !b.want(n, pointer, objectNode) {
		return
	}
	fields := jsonFields(v.Type())
	for _, m := range n.members {
		at := pointer + "/" + escapePointer(m.name)
		i, known := fields[m.name]
		if !known {
			b.refuse(at, "is not known here%s", didYouMean(nearestName(m.name, keysOf(fields))))
			continue
		}
		b.set(m.value, v.Field(i), at)
	}
}

// jsonFields maps the json names of a struct to its fields.
func jsonFields(t reflect.Type) map[string]int {
	fields := make(map[string]int, t.NumField())
	for i := range t.NumField() {
		name, _, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		if name != "" && name != "-" {
			fields[name] = i
		}
	}
	return fields
}

func didYouMean(name string) string {
	if name == "" {
		return ""
	}
	return "; did you mean " + name + "?"
}
