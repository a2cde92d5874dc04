// Command describe makes the description of the API, OpenAPI 3.1, from what swag
// writes (Swagger 2.0) and from the Go structs: which fields every answer has,
// and which may be null, is told by their tags and types alone. Beside it stands
// the same description as OpenAPI 3.0.3, which more generators read.
package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"

	"github.com/getkin/kin-openapi/openapi2"
	"github.com/getkin/kin-openapi/openapi2conv"
	"github.com/getkin/kin-openapi/openapi3"
)

func main() {
	swagger := flag.String("swagger", "", "the file that swag wrote")
	to31 := flag.String("to", "", "where the description goes")
	to30 := flag.String("to-3.0", "", "where it goes as OpenAPI 3.0.3")
	flag.Parse()
	if err := run(*swagger, *to31, *to30); err != nil {
		fmt.Fprintln(os.Stderr, "describe:", err)
		os.Exit(1)
	}
}

func run(swagger, to31, to30 string) error {
	doc, err := read(swagger)
	if err != nil {
		return err
	}
	source, err := readSource("askwright/api/...", "askwright/service/...")
	if err != nil {
		return err
	}
	complete(doc, source)
	tree, err := asTree(doc)
	if err != nil {
		return err
	}
	if err := write(to30, tree); err != nil {
		return err
	}
	if err := validate(to30); err != nil {
		return err
	}
	if err := write(to31, modern(tree)); err != nil {
		return err
	}
	return validate(to31)
}

// validate reads a description as a client does.
func validate(name string) error {
	loader := openapi3.NewLoader()
	doc, err := loader.LoadFromFile(name)
	if err == nil {
		err = doc.Validate(loader.Context)
	}
	if err != nil {
		return fmt.Errorf("%s is not valid: %w", name, err)
	}
	return nil
}

// read converts what swag wrote.
func read(name string) (*openapi3.T, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	var doc openapi2.T
	if err := json.Unmarshal(text, &doc); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return openapi2conv.ToV3(&doc)
}

func write(name string, doc any) error {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	if err := encoder.Encode(doc); err != nil {
		return err
	}
	return os.WriteFile(name, out.Bytes(), 0o644) //nolint:gosec // a file of the repository
}

func asTree(doc *openapi3.T) (any, error) {
	text, err := doc.MarshalJSON()
	if err != nil {
		return nil, err
	}
	var tree any
	return tree, json.Unmarshal(text, &tree)
}
