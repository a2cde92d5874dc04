// Package docs holds the generated description of the API, made from the
// comments and structs of package api by go generate ./api.
package docs

import _ "embed"

// OpenAPI is the description as JSON, OpenAPI 3.1.
//
//go:embed openapi.json
var OpenAPI []byte

// OpenAPI30 is the same in OpenAPI 3.0.3, for generators that do not read 3.1.
//
//go:embed openapi-3.0.json
var OpenAPI30 []byte
