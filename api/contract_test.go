package api_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/gorillamux"

	"askwright/docs"
)

// described finds the operation of a request in the description.
var described = sync.OnceValues(func() (routers.Router, error) {
	doc, err := openapi3.NewLoader().LoadFromData(docs.OpenAPI30)
	if err != nil {
		return nil, err
	}
	return gorillamux.NewRouter(doc)
})

// checkDescribed holds an answer to the description of the API: the status, the
// type and every field, by a general library.
func (r reply) checkDescribed(t testing.TB) {
	t.Helper()
	if !strings.HasPrefix(r.Request.URL.Path, "/v1/") || r.Request.Method == http.MethodHead || r.Request.Method == http.MethodOptions {
		return
	}
	router, err := described()
	if err != nil {
		t.Fatal(err)
	}
	asked := httptest.NewRequest(r.Request.Method, r.Request.URL.RequestURI(), nil)
	route, parameters, err := router.FindRoute(asked)
	if err != nil {
		return // no such route or method: the answer is a problem, held to elsewhere
	}
	input := &openapi3filter.ResponseValidationInput{
		RequestValidationInput: &openapi3filter.RequestValidationInput{Request: asked, Route: route, PathParams: parameters},
		Status:                 r.StatusCode,
		Header:                 r.Header,
		Body:                   io.NopCloser(strings.NewReader(r.body)),
		Options:                &openapi3filter.Options{MultiError: true, ExcludeResponseBody: !strings.Contains(r.Header.Get("Content-Type"), "json") || r.Header.Get("Content-Encoding") != ""},
	}
	if err := openapi3filter.ValidateResponse(context.Background(), input); err != nil {
		t.Errorf("%s %s: the answer breaks the description: %.1500s", r.Request.Method, r.Request.URL, err)
	}
}
