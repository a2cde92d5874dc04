package main

import (
	"fmt"
	"go/ast"
	"go/types"
	"reflect"
	"regexp"
	"strings"

	"golang.org/x/tools/go/packages"
)

// source is what the Go code tells: the structs by name, and which function
// answers a route ("GET /v1/listings").
type source struct {
	structs  map[string][]field
	handlers map[string]string
}

// field is a property of a struct in JSON.
type field struct {
	name     string
	optional bool // may be absent
	nullable bool
}

func readSource(patterns ...string) (*source, error) {
	mode := packages.NeedName | packages.NeedTypes | packages.NeedSyntax | packages.NeedTypesInfo | packages.NeedImports | packages.NeedDeps
	loaded, err := packages.Load(&packages.Config{Mode: mode}, patterns...)
	if err != nil {
		return nil, err
	}
	out := &source{structs: map[string][]field{}, handlers: map[string]string{}}
	for _, p := range loaded {
		if len(p.Errors) > 0 {
			return nil, fmt.Errorf("%s: %w", p.PkgPath, p.Errors[0])
		}
		out.addStructs(p)
		for _, file := range p.Syntax {
			out.addHandlers(file)
		}
	}
	return out, nil
}

// addStructs notes the structs of a package. Names are unique among those that
// swag describes: it would refuse two.
func (s *source) addStructs(p *packages.Package) {
	scope := p.Types.Scope()
	for _, name := range scope.Names() {
		typeName, ok := scope.Lookup(name).(*types.TypeName)
		if !ok {
			continue
		}
		shape, ok := typeName.Type().Underlying().(*types.Struct)
		if _, taken := s.structs[name]; ok && (!taken || strings.HasSuffix(p.PkgPath, "/wire")) {
			s.structs[name] = fieldsOf(shape)
		}
	}
}

// fieldsOf lists what encoding/json writes of a struct.
func fieldsOf(shape *types.Struct) []field {
	var out []field
	for i := range shape.NumFields() {
		member := shape.Field(i)
		tag, tagged := reflect.StructTag(shape.Tag(i)).Lookup("json")
		name, options, _ := strings.Cut(tag, ",")
		if inner := structOf(member.Type()); member.Embedded() && inner != nil && name == "" {
			_, isPointer := member.Type().(*types.Pointer)
			for _, f := range fieldsOf(inner) {
				f.optional = f.optional || isPointer // nil: none of them
				out = append(out, f)
			}
			continue
		}
		if !tagged || name == "-" || !member.Exported() {
			continue
		}
		_, isPointer := member.Type().(*types.Pointer)
		out = append(out, field{name: name, optional: strings.Contains(options, "omit"), nullable: isPointer})
	}
	return out
}

func structOf(t types.Type) *types.Struct {
	if p, ok := t.(*types.Pointer); ok {
		t = p.Elem()
	}
	shape, _ := t.Underlying().(*types.Struct)
	return shape
}

var routerLine = regexp.MustCompile(`@Router\s+(\S+)\s+\[(\w+)\]`)

// addHandlers reads the routes in the comments on functions.
func (s *source) addHandlers(file *ast.File) {
	for _, decl := range file.Decls {
		function, ok := decl.(*ast.FuncDecl)
		if !ok || function.Doc == nil {
			continue
		}
		for _, found := range routerLine.FindAllStringSubmatch(function.Doc.Text(), -1) {
			s.handlers[strings.ToUpper(found[2])+" "+found[1]] = function.Name.Name
		}
	}
}
