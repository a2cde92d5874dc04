// Package docs holds the generated description of the API: Swagger 2.0, made
// from the comments in package api by go generate ./api.
package docs

import _ "embed"

// OpenAPI is the description as JSON.
//
//go:embed openapi.json
var OpenAPI []byte
