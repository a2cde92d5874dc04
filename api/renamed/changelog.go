package renamed

import (
	"fmt"
	"strings"
)

// Markdown is the tables as docs/changelog.md has them.
func Markdown() string {
	var out strings.Builder
	out.WriteString("| address | is now | |\n|---|---|---|\n")
	for _, r := range Routes {
		fmt.Fprintf(&out, "| `%s %s` | `%s` | %s |\n", r.Method, braces(r.Was), r.Now, r.Why)
	}
	for kind := Parameter; kind <= Answer; kind++ {
		fmt.Fprintf(&out, "\n| %s | was | is now |\n|---|---|---|\n", kind)
		for _, n := range Names {
			if n.Kind == kind {
				fmt.Fprintf(&out, "| %s | `%s` | %s |\n", n.Where, n.Was, quoted(n.Now))
			}
		}
	}
	return out.String()
}

// braces writes the placeholders of an address as the documents do.
func braces(path string) string {
	steps := strings.Split(path, "/")
	for i, step := range steps {
		if name, ok := strings.CutPrefix(step, ":"); ok {
			steps[i] = "{" + name + "}"
		}
	}
	return strings.Join(steps, "/")
}

// quoted is a name as code, and a phrase as it is.
func quoted(now string) string {
	if strings.Contains(now, " ") {
		return now
	}
	return "`" + now + "`"
}
