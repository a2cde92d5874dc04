package main

import (
	"maps"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

// What is sent may leave out any field and set any to null, where the answer of
// the same shape has them all: each struct that a request holds gets a
// description of its own.

const (
	inputSuffix   = "Input"
	schemasPrefix = "#/components/schemas/"
)

// separateInputs renames the schemas of requests.
func separateInputs(doc *openapi3.T) {
	copies := map[string]*openapi3.SchemaRef{}
	var input func(ref *openapi3.SchemaRef) *openapi3.SchemaRef
	input = func(ref *openapi3.SchemaRef) *openapi3.SchemaRef {
		if ref == nil {
			return nil
		}
		if name, ok := strings.CutPrefix(ref.Ref, schemasPrefix); ok {
			if _, done := copies[name]; !done {
				copies[name] = nil // also for one that holds itself
				copies[name] = input(doc.Components.Schemas[name])
			}
			return openapi3.NewSchemaRef(ref.Ref+inputSuffix, nil)
		}
		schema := *ref.Value
		schema.Items = input(schema.Items)
		schema.Properties = maps.Clone(schema.Properties)
		for name, property := range schema.Properties {
			schema.Properties[name] = input(property)
		}
		schema.AllOf = slices.Clone(schema.AllOf)
		for i, part := range schema.AllOf {
			schema.AllOf[i] = input(part)
		}
		schema.AdditionalProperties.Schema = input(schema.AdditionalProperties.Schema)
		return schema.NewRef()
	}
	eachBody(doc, func(media *openapi3.MediaType, isRequest bool) {
		if isRequest {
			media.Schema = input(media.Schema)
		}
	})
	for name, schema := range copies {
		doc.Components.Schemas[name+inputSuffix] = schema
	}
}

// eachBody visits the bodies of all requests and answers.
func eachBody(doc *openapi3.T, visit func(media *openapi3.MediaType, isRequest bool)) {
	for _, item := range doc.Paths.Map() {
		for _, operation := range item.Operations() {
			if operation.RequestBody != nil {
				for _, media := range operation.RequestBody.Value.Content {
					visit(media, true)
				}
			}
			for _, response := range operation.Responses.Map() {
				for _, media := range response.Value.Content {
					visit(media, false)
				}
			}
		}
	}
}

// references lists the schemas that one refers to.
func references(ref *openapi3.SchemaRef) []string {
	if ref == nil {
		return nil
	}
	if name, ok := strings.CutPrefix(ref.Ref, schemasPrefix); ok {
		return []string{name}
	}
	var out []string
	eachPart(ref.Value, func(part *openapi3.SchemaRef) { out = append(out, references(part)...) })
	return out
}

func eachPart(schema *openapi3.Schema, visit func(*openapi3.SchemaRef)) {
	for _, one := range slices.Concat(schema.AllOf, slices.Collect(maps.Values(schema.Properties))) {
		visit(one)
	}
	visit(schema.Items)
	visit(schema.AdditionalProperties.Schema)
}
