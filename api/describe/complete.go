package main

import (
	"maps"
	"net/http"
	"path"
	"slices"
	"strings"

	"github.com/getkin/kin-openapi/openapi3"
)

const (
	jsonType    = "application/json"
	problemType = "application/problem+json"
)

// complete says what swag cannot: the names of operations, how a request proves
// who sends it, what every answer may be, and which fields it always has.
func complete(doc *openapi3.T, s *source) {
	doc.OpenAPI = "3.0.3"
	doc.Servers = openapi3.Servers{{URL: "/"}}
	describeKeys(doc)
	for address, item := range doc.Paths.Map() {
		if address == "/board" || strings.HasPrefix(address, "/board/") {
			doc.Paths.Delete(address) // pages, for people
			continue
		}
		for method, operation := range item.Operations() {
			operation.OperationID = operationID(s.handlers[method+" "+address], address)
			secure(operation)
			repairParameters(operation)
			repairBodies(operation)
			addUsual(operation, method, address)
		}
	}
	separateInputs(doc)
	describeFields(doc, s)
	dropUnused(doc)
}

// describeKeys are the two ways to send a key (RFC 6750, 2.1; a query of a feed).
func describeKeys(doc *openapi3.T) {
	bearer := openapi3.NewSecurityScheme().WithType("http").WithScheme("bearer").WithDescription("Authorization: Bearer KEY")
	query := openapi3.NewSecurityScheme().WithType("apiKey").WithIn("query").WithName("key").
		WithDescription("A feed key, for addresses that end in a format, such as .csv")
	doc.Components.SecuritySchemes = openapi3.SecuritySchemes{
		"Key": {Value: bearer}, "FeedKey": {Value: query},
	}
}

// secure replaces the parameter for a feed key, and says where none is needed.
func secure(operation *openapi3.Operation) {
	if operation.Security == nil {
		operation.Security = &openapi3.SecurityRequirements{}
		return
	}
	before := len(operation.Parameters)
	operation.Parameters = slices.DeleteFunc(operation.Parameters, func(p *openapi3.ParameterRef) bool {
		return p.Value.In == "query" && p.Value.Name == "key"
	})
	if len(operation.Parameters) < before {
		operation.Security.With(openapi3.SecurityRequirement{"FeedKey": {}})
	}
}

// operationID is the handler's name; other forms of a list have their ending.
func operationID(handler, address string) string {
	form := strings.TrimPrefix(path.Ext(address), ".")
	switch {
	case address == "/openapi-3.0.json":
		return handler + "30"
	case form == "" || form == "json" || strings.HasSuffix(strings.ToLower(handler), form):
		return handler
	}
	return handler + strings.ToUpper(form[:1]) + form[1:]
}

// repairParameters moves examples to where OpenAPI has them.
func repairParameters(operation *openapi3.Operation) {
	for _, p := range operation.Parameters {
		if example, ok := p.Value.Extensions["example"]; ok {
			p.Value.Example = example
			delete(p.Value.Extensions, "example")
		}
	}
}

// repairBodies gives each body its own types: problems to errors alone, and text
// to what is not JSON.
func repairBodies(operation *openapi3.Operation) {
	for status, response := range operation.Responses.Map() {
		isError := status == "default" || status >= "400"
		for kind, media := range response.Value.Content {
			switch {
			case isError != (kind == problemType):
				delete(response.Value.Content, kind)
			case !isJSON(kind):
				media.Schema = openapi3.NewStringSchema().NewRef()
			}
		}
		if isError && len(response.Value.Content) == 0 {
			response.Value.Content = problemContent()
		}
	}
	if operation.RequestBody != nil {
		for kind, media := range operation.RequestBody.Value.Content {
			if !isJSON(kind) {
				media.Schema = openapi3.NewStringSchema().NewRef()
			}
		}
	}
}

func isJSON(kind string) bool { return kind == jsonType || kind == problemType }

func problemContent() openapi3.Content {
	return openapi3.NewContentWithSchemaRef(openapi3.NewSchemaRef("#/components/schemas/Problem", nil), []string{problemType})
}

// addUsual describes what holds for all routes below /v1: conditional answers
// (RFC 9110, 13), repeats, limits.
func addUsual(operation *openapi3.Operation, method, address string) {
	if !strings.HasPrefix(address, "/v1/") {
		return
	}
	add := func(status, text string, headers map[string]string) {
		if operation.Responses.Value(status) != nil {
			return
		}
		response := openapi3.NewResponse().WithDescription(text)
		if status >= "400" {
			response.Content = problemContent()
		}
		setHeaders(response, headers)
		operation.Responses.Set(status, &openapi3.ResponseRef{Value: response})
	}
	add("401", "no key, or one that does not open this", nil)
	add("429", "too many requests; wait as long as Retry-After says", map[string]string{"Retry-After": "seconds"})
	switch method {
	case http.MethodGet:
		operation.AddParameter(header("If-None-Match", "the ETag of an earlier answer"))
		add("304", "as it was in the answer with that ETag", nil)
		if ok := operation.Responses.Value("200"); ok != nil {
			setHeaders(ok.Value, map[string]string{"ETag": "of this answer, for If-None-Match"})
		}
	case http.MethodPost:
		operation.AddParameter(header("Idempotency-Key", "a text of your own; sent again with the same body within 48 hours, the first answer comes back"))
		add("409", "not possible in the present state, or a request with the same Idempotency-Key is running", nil)
		add("422", "values that cannot be taken, all named", nil)
	case http.MethodPatch, http.MethodDelete:
		add("412", "changed since the revision in If-Match", nil)
	}
}

func header(name, text string) *openapi3.Parameter {
	return openapi3.NewHeaderParameter(name).WithDescription(text).WithSchema(openapi3.NewStringSchema())
}

func setHeaders(response *openapi3.Response, headers map[string]string) {
	for name, text := range headers {
		if response.Headers == nil {
			response.Headers = openapi3.Headers{}
		}
		described := openapi3.Parameter{Description: text, Schema: openapi3.NewStringSchema().NewRef()}
		response.Headers[name] = &openapi3.HeaderRef{Value: &openapi3.Header{Parameter: described}}
	}
}

// describeFields marks what each answer always has, and what may be null.
// Numbers are doubles: amounts have at most 15 digits, which a double keeps.
func describeFields(doc *openapi3.T, s *source) {
	for name, schema := range doc.Components.Schemas {
		isInput := strings.HasSuffix(name, inputSuffix)
		for _, f := range s.structs[strings.TrimSuffix(name, inputSuffix)] {
			property := schema.Value.Properties[f.name]
			if property == nil {
				continue
			}
			if f.nullable || isInput {
				schema.Value.Properties[f.name] = nullable(property)
			}
			if !f.optional && !isInput {
				schema.Value.Required = append(schema.Value.Required, f.name)
			}
		}
		slices.Sort(schema.Value.Required)
		schema.Value.Required = slices.Compact(schema.Value.Required)
		eachSchema(schema, func(one *openapi3.Schema) {
			if one.Type.Is("number") && one.Format == "" {
				one.Format = "double"
			}
		})
	}
}

// nullable allows null; in 3.0 a reference is wrapped for that.
func nullable(of *openapi3.SchemaRef) *openapi3.SchemaRef {
	if of.Ref != "" {
		wrapped := openapi3.NewSchema().WithNullable()
		wrapped.AllOf = openapi3.SchemaRefs{of}
		return wrapped.NewRef()
	}
	if len(of.Value.Enum) > 0 && !slices.Contains(of.Value.Enum, nil) {
		of.Value.Enum = append(of.Value.Enum, nil)
	}
	of.Value.Nullable = true
	return of
}

// eachSchema visits a schema and those inside it, not those it refers to.
func eachSchema(ref *openapi3.SchemaRef, visit func(*openapi3.Schema)) {
	if ref == nil || ref.Ref != "" || ref.Value == nil {
		return
	}
	visit(ref.Value)
	eachSchema(ref.Value.Items, visit)
	for _, inner := range ref.Value.Properties {
		eachSchema(inner, visit)
	}
	for _, inner := range ref.Value.AllOf {
		eachSchema(inner, visit)
	}
	eachSchema(ref.Value.AdditionalProperties.Schema, visit)
}

// dropUnused removes schemas that nothing refers to any more.
func dropUnused(doc *openapi3.T) {
	used := map[string]bool{}
	var follow func(ref *openapi3.SchemaRef)
	follow = func(ref *openapi3.SchemaRef) {
		for _, name := range references(ref) {
			if !used[name] {
				used[name] = true
				follow(doc.Components.Schemas[name])
			}
		}
	}
	eachBody(doc, func(media *openapi3.MediaType, _ bool) { follow(media.Schema) })
	maps.DeleteFunc(doc.Components.Schemas, func(name string, _ *openapi3.SchemaRef) bool { return !used[name] })
}
