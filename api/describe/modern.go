package main

// modern rewrites a description of OpenAPI 3.0.3 as 3.1, whose schemas are those
// of JSON Schema 2020-12: null is a type, an example is one of several.
func modern(tree any) any {
	out := rewrite(tree)
	if doc, ok := out.(map[string]any); ok {
		doc["openapi"] = "3.1.0"
		doc["jsonSchemaDialect"] = "https://spec.openapis.org/oas/3.1/dialect/base"
	}
	return out
}

func rewrite(node any) any {
	switch node := node.(type) {
	case []any:
		for i := range node {
			node[i] = rewrite(node[i])
		}
	case map[string]any:
		for key := range node {
			node[key] = rewrite(node[key])
		}
		if node["nullable"] == true {
			delete(node, "nullable")
			allowNull(node)
		}
		if example, ok := node["example"]; ok && isSchema(node) {
			delete(node, "example")
			node["examples"] = []any{example}
		}
	}
	return node
}

// allowNull adds null to the type of a schema, or beside what it refers to.
func allowNull(schema map[string]any) {
	if kind, ok := schema["type"].(string); ok {
		schema["type"] = []any{kind, "null"}
		return
	}
	if parts, ok := schema["allOf"].([]any); ok {
		delete(schema, "allOf")
		schema["anyOf"] = append(parts, map[string]any{"type": "null"})
	}
}

// isSchema tells schemas from parameters and media types, which keep their
// example, and from maps of properties, where example is a name.
func isSchema(node map[string]any) bool {
	_, hasSchema := node["schema"]
	_, isNamed := node["example"].(map[string]any)
	return !hasSchema && !isNamed
}
