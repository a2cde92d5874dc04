package main

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// listed is what go list tells of a package.
type listed struct {
	ImportPath string
	Imports    []string
	Deps       []string
}

// listPackages lists the module's packages without their tests.
func listPackages(t *testing.T) map[string]listed {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "go", "list", "-json=ImportPath,Imports,Deps", "askwright/...")
	var complaints strings.Builder
	cmd.Stderr = &complaints
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, complaints.String())
	}
	found := map[string]listed{}
	for decoder := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := decoder.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		found[p.ImportPath] = p
	}
	return found
}

const programPath = "askwright/service/cmd/askwright"

var (
	engine = []string{
		"askwright/pricing", "askwright/pricing/askplan", "askwright/pricing/civil", "askwright/pricing/delivery",
		"askwright/pricing/furniture", "askwright/pricing/hedonic", "askwright/pricing/pricepoint",
		"askwright/pricing/refinish", "askwright/pricing/stats",
	}
	domain = append(slices.Clip(engine), "askwright/pricing/buying", "askwright/service")
	// components are all packages of the service that have use cases, with what
	// they stand on.
	components = with(domain, "advice", "background", "doubt", "history", "imports", "members", "model", "profit", "prose", "recording", "sheet", "track", "watch", "webhook")
	// pure are the neighbors that the service does not know.
	pure = []string{"github.com/gin-gonic/", "github.com/jackc/", "net/http", "database/sql"}
)

// with adds packages of the service.
func with(ours []string, names ...string) []string {
	out := slices.Clone(ours)
	for _, name := range names {
		out = append(out, "askwright/service/"+name)
	}
	return slices.Clip(out)
}

// pureNot is what the engine, numbers in and numbers out, must not depend on.
var pureNot = []string{"net", "net/http", "database/sql", "os/exec", "context", "github.com/", "log/slog"}

// answers are what a page of the board is filled from.
var answers = append(slices.Clip(components), "askwright/service/app", "askwright/api/chart", "askwright/api/rowfile", "askwright/api/web", "askwright/api/wire", names)

// names are those that changed.
const names = "askwright/api/renamed"

var noSQL = []string{"github.com/jackc/", "database/sql/driver"}

// arrows says which of our packages each may depend on, directly or not, and
// what of others it must not.
var arrows = []struct {
	of   string
	ours []string
	not  []string
}{
	{"askwright/pricing", engine, pureNot},
	{"askwright/pricing/furniture", nil, pureNot},
	{"askwright/pricing/civil", nil, pureNot},
	{"askwright/pricing/hedonic", []string{"askwright/pricing/civil", "askwright/pricing/furniture", "askwright/pricing/stats"}, pureNot},
	{"askwright/pricing/refinish", []string{"askwright/pricing/furniture"}, pureNot},
	{"askwright/pricing/askplan", nil, pureNot},
	{"askwright/pricing/buying", engine, pureNot},
	{"askwright/pricing/delivery", []string{"askwright/pricing/pricepoint"}, pureNot},
	{"askwright/pricing/pricepoint", nil, pureNot},
	{"askwright/pricing/stats", nil, pureNot},
	{"askwright/service", domain, pure},
	{"askwright/service/background", nil, pure},
	{"askwright/service/recording", domain, pure},
	{"askwright/service/sheet", domain, pure},
	{"askwright/service/imports", with(domain, "doubt", "recording", "sheet"), pure},
	{"askwright/service/doubt", domain, pure},
	{"askwright/service/members", domain, pure},
	{"askwright/service/model", domain, pure},
	{"askwright/service/profit", domain, pure},
	{"askwright/service/prose", domain, pure},
	{"askwright/service/webhook", with(domain, "background"), pure},
	{"askwright/service/history", with(domain, "profit", "prose"), pure},
	{"askwright/service/track", with(domain, "background", "model", "profit"), pure},
	{"askwright/service/advice", with(domain, "background", "model", "profit", "prose", "track"), pure},
	{"askwright/service/watch", with(domain, "advice", "background", "model", "profit", "prose", "track"), pure},
	{"askwright/service/app", components, pure},
	{"askwright/service/demo", append(slices.Clip(components), "askwright/service/app"), pure},
	{"askwright/db", components, []string{"github.com/gin-gonic/"}},
	{"askwright/db/private", nil, []string{"github.com/gin-gonic/"}},
	{"askwright/api/chart", nil, []string{"net/http", "github.com/"}},
	{names, nil, pureNot},
	{"askwright/api/web", append(slices.Clip(domain), names), noSQL},
	{"askwright/api/rowfile", append(with(domain, "recording", "sheet"), "askwright/api/web", names), noSQL},
	{"askwright/api/wire", append(slices.Clip(components), "askwright/api/chart", "askwright/api/rowfile", "askwright/api/web", names), noSQL},
	{"askwright/api/board", answers, noSQL},
	{"askwright/api", append(slices.Clip(answers), "askwright/api/board", "askwright/docs"), noSQL},
	{"askwright/docs", nil, nil},
}

func TestImportsPointInward(t *testing.T) {
	t.Parallel()
	all := listPackages(t)
	for _, arrow := range arrows {
		p, ok := all[arrow.of]
		if !ok {
			t.Errorf("there is no package %s", arrow.of)
		}
		for _, dep := range p.Deps {
			if strings.HasPrefix(dep, "askwright/") && !slices.Contains(arrow.ours, dep) {
				t.Errorf("%s depends on %s", arrow.of, dep)
			}
		}
		for _, prefix := range arrow.not {
			// Of the standard library only what is imported directly counts:
			// math/rand or fmt may use anything.
			of := p.Imports
			if strings.Contains(prefix, ".") {
				of = p.Deps
			}
			for _, dep := range of {
				if dep == prefix || (strings.HasSuffix(prefix, "/") && strings.HasPrefix(dep, prefix)) {
					t.Errorf("%s depends on %s", arrow.of, dep)
				}
			}
		}
	}
}

// Packages for tests are no part of the program, and only the program joins
// api and db.
func TestOnlyTheProgramKnowsAll(t *testing.T) {
	t.Parallel()
	all := listPackages(t)
	forTests := []string{"askwright/db/dbtest", "askwright/service/servicetest", "askwright/pricing/internal/probe", "askwright/pricing/internal/reference"}
	for name, p := range all {
		if slices.Contains(forTests, name) || strings.HasPrefix(name, "askwright/deploy/") {
			continue
		}
		for _, dep := range append([]string{"testing", "pgregory.net/rapid"}, forTests...) {
			// A library of others may itself use testing.
			if slices.Contains(p.Imports, dep) || (dep != "testing" && slices.Contains(p.Deps, dep)) {
				t.Errorf("%s depends on %s, which is for tests", name, dep)
			}
		}
		if name != programPath && slices.Contains(p.Deps, "askwright/api") && slices.Contains(p.Deps, "askwright/db") {
			t.Errorf("%s joins api and db", name)
		}
	}
	for _, dep := range []string{"askwright/api", "askwright/db", "askwright/db/private", "askwright/service", "askwright/docs"} {
		if !slices.Contains(all[programPath].Deps, dep) {
			t.Errorf("the program does not use %s", dep)
		}
	}
}
