package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// row says what a package may import in its code; its tests are free.
type row struct {
	standard []string // of the standard library; nil: all of it
	project  []string // packages of this module, without its name; "…" at the end stands for everything below
	modules  []string // other modules; nil: none
}

// withoutIO is the part of the standard library that can neither read, write nor tell the time.
var withoutIO = []string{"cmp", "errors", "fmt", "maps", "math", "slices", "sort", "strconv", "strings"}

var (
	anything = []string{"…"}
	core     = row{standard: withoutIO, project: []string{"risk", "risk/trace"}}
	// What several operations share stands below them and knows nothing of HTTP.
	shared = []string{"risk…", "geo", "store", "api/wire", "api/assess", "api/reference", "api/contract", "api/refusal", "api/table", "tabletext"}
	// An operation uses what is shared, and neither another group of operations nor the server.
	operations = row{project: append([]string{"api/protocol", "api/recompute", "api/shelf", "api/library", "api/sites", "api/jobs", "api/batch", "api/web", "api/webhook"}, shared...),
		modules: []string{"github.com/labstack/echo/v4", "github.com/google/uuid", "github.com/paulmach/orb"}}
	server = row{project: []string{"risk…", "geo", "store", "tabletext", "api…"}, modules: anything}
)

// rows is the import table. A package without a row may not exist, but below
// api, where the row of api holds.
var rows = map[string]row{
	"risk":            core,
	"risk/trace":      core,
	"risk/ed2":        core,
	"risk/spd":        core,
	"risk/earth":      core,
	"risk/measures":   core,
	"tabletext":       {project: []string{}},
	"geo":             {project: []string{"tabletext"}, modules: []string{"github.com/paulmach/orb"}},
	"store":           {project: []string{"risk"}},
	"store/tables":    {project: []string{"store", "risk"}},
	"store/postgres":  {project: []string{"store", "store/tables", "risk"}, modules: []string{"github.com/jackc/pgx/v5", "github.com/jackc/puddle/v2", "github.com/pressly/goose/v3"}},
	"store/sqlite":    {project: []string{"store", "store/tables", "risk"}, modules: []string{"modernc.org/sqlite", "github.com/pressly/goose/v3"}},
	"store/storetest": {project: []string{"store", "risk"}, modules: anything},
	"api/assess":      {project: []string{"risk…", "geo", "store", "api/wire"}, modules: []string{"github.com/shopspring/decimal"}},
	"api/reference":   {project: []string{"risk…", "geo", "store", "api/wire", "api/assess", "tabletext"}},
	"api/wire":        {project: []string{"risk…", "geo", "tabletext"}, modules: []string{"github.com/paulmach/orb"}},
	"api/contract":    {project: []string{"risk", "risk/trace", "api/wire", "api/assess", "api/refusal"}, modules: []string{"github.com/getkin/kin-openapi"}},
	"api/refusal":     {project: []string{"risk"}},
	"api/table":       {},
	"api/recompute":   {project: shared},
	"api/shelf":       {project: []string{"geo", "store"}, modules: []string{"golang.org/x/sync"}},
	"api/library":     {project: []string{"store", "api/assess"}},
	"api/sites":       {project: shared, modules: []string{"github.com/paulmach/orb", "github.com/xuri/excelize/v2", "modernc.org/sqlite"}},
	"api/single":      {project: shared},
	"api/protocol":    {project: shared, modules: []string{"github.com/labstack/echo/v4"}},
	"api/assessments": operations,
	"api/devices":     operations,
	"api/documents":   operations,
	"api/maps":        operations,
	"api/ogc":         operations,
	"api/portfolios":  operations,
	"api/webhooks":    operations,
	"api/work":        operations,
	"api/apitest":     {project: []string{"risk…", "geo", "store…", "api…"}, modules: anything}, // for tests only
	"api/queue":       {project: []string{"store"}},
	"api/jobs":        server,
	"api":             server,
	"":                {project: anything, modules: anything},
}

// forTestsOnly must not become part of the program.
var forTestsOnly = []string{"levinward/store/storetest", "levinward/api/apitest", "pgregory.net/rapid", "github.com/peterstace/simplefeatures"}

// listed is what go list tells of a package.
type listed struct {
	ImportPath    string
	Standard      bool
	Imports, Deps []string
	Module        *struct{ Path string }
}

func TestImports(t *testing.T) {
	packages := listPackages(t)
	breaches := breachesOf(packages)
	for _, b := range breaches {
		t.Error(b)
	}
	for name := range rows {
		if !slices.ContainsFunc(packages, func(p listed) bool { return p.ImportPath == join(name) }) {
			t.Errorf("the table has a row for %q, which is no package", join(name))
		}
	}
}

// TestImportsFindsBreaches feeds the walk packages that break one row each.
func TestImportsFindsBreaches(t *testing.T) {
	module := &struct{ Path string }{"levinward"}
	known := []listed{
		{ImportPath: "os", Standard: true}, {ImportPath: "math", Standard: true},
		{ImportPath: "pgregory.net/rapid", Module: &struct{ Path string }{"pgregory.net/rapid"}},
	}
	for _, c := range []struct {
		name    string
		pkg     listed
		refused bool
	}{
		{"core reads files", listed{ImportPath: "levinward/risk/ed2", Imports: []string{"os"}}, true},
		{"core computes", listed{ImportPath: "levinward/risk/ed2", Imports: []string{"math", "levinward/risk"}}, false},
		{"one part of the core uses another", listed{ImportPath: "levinward/risk/spd", Imports: []string{"levinward/risk/ed2"}}, true},
		{"core uses a module", listed{ImportPath: "levinward/risk", Imports: []string{"pgregory.net/rapid"}}, true},
		{"geometry knows of risk", listed{ImportPath: "levinward/geo", Imports: []string{"levinward/risk"}}, true},
		{"one store uses the other", listed{ImportPath: "levinward/store/sqlite", Imports: []string{"levinward/store/postgres"}}, true},
		{"a handler chooses a store", listed{ImportPath: "levinward/api", Imports: []string{"levinward/store/sqlite"}}, true},
		{"a handler computes", listed{ImportPath: "levinward/api", Imports: []string{"levinward/risk/ed2", "os"}}, false},
		{"a part of the server chooses a store", listed{ImportPath: "levinward/api/web", Imports: []string{"levinward/store/postgres"}}, true},
		{"main chooses a store", listed{ImportPath: "levinward", Imports: []string{"levinward/store/sqlite", "os"}}, false},
		{"the program carries test code", listed{ImportPath: "levinward", Deps: []string{"pgregory.net/rapid"}}, true},
		{"a package without a row", listed{ImportPath: "levinward/util"}, true},
	} {
		c.pkg.Module = module
		if got := breachesOf(append(slices.Clone(known), c.pkg)); (len(got) > 0) != c.refused {
			t.Errorf("%s: breaches %q", c.name, got)
		}
	}
}

func listPackages(t *testing.T) []listed {
	t.Helper()
	out, err := exec.Command("go", "list", "-deps", "-json=ImportPath,Standard,Imports,Deps,Module", "./...").Output()
	if err != nil {
		var exit *exec.ExitError
		if errors.As(err, &exit) {
			t.Fatalf("go list: %v\n%s", err, exit.Stderr)
		}
		t.Fatal(err)
	}
	var packages []listed
	for d := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := d.Decode(&p); err == io.EOF {
			return packages
		} else if err != nil {
			t.Fatal(err)
		}
		packages = append(packages, p)
	}
}

// breachesOf holds the packages of this module among all that are listed against the table.
func breachesOf(packages []listed) []string {
	byPath := map[string]listed{}
	for _, p := range packages {
		byPath[p.ImportPath] = p
	}
	var breaches []string
	for _, p := range packages {
		name, ours := nameOf(p.ImportPath)
		if !ours {
			continue
		}
		r, known := rows[name]
		if !known && strings.HasPrefix(name, "api/") {
			r, known = server, true
		}
		if !known {
			breaches = append(breaches, p.ImportPath+" has no row in the import table")
			continue
		}
		for _, path := range p.Imports {
			if !r.allows(path, byPath[path]) {
				breaches = append(breaches, p.ImportPath+" may not import "+path)
			}
		}
	}
	for _, path := range byPath["levinward"].Deps {
		if in(path, forTestsOnly) {
			breaches = append(breaches, "the program may not carry "+path+", which is for tests")
		}
	}
	return breaches
}

func (r row) allows(path string, p listed) bool {
	if name, ours := nameOf(path); ours {
		return slices.ContainsFunc(r.project, func(pattern string) bool {
			prefix, below := strings.CutSuffix(pattern, "…")
			return name == prefix || below && (prefix == "" || strings.HasPrefix(name, prefix+"/"))
		})
	}
	if p.Standard {
		return r.standard == nil || slices.Contains(r.standard, path)
	}
	return slices.Equal(r.modules, anything) || in(path, r.modules)
}

// in reports whether a package is one of those named, or below one of them.
func in(path string, named []string) bool {
	return slices.ContainsFunc(named, func(n string) bool { return path == n || strings.HasPrefix(path, n+"/") })
}

// nameOf is the path of a package inside this module.
func nameOf(path string) (name string, ours bool) {
	if path == "levinward" {
		return "", true
	}
	return strings.CutPrefix(path, "levinward/")
}

func join(name string) string { return strings.TrimSuffix("levinward/"+name, "/") }
