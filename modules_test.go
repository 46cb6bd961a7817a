package main

import (
	"encoding/json"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
)

// modFile is what go mod edit tells of a go.mod.
type modFile struct {
	Require []struct {
		Path, Version string
		Indirect      bool
	}
	Tool []struct{ Path string }
}

func readModFile(t *testing.T, path string) (f modFile) {
	t.Helper()
	out, err := exec.Command("go", "mod", "edit", "-json", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(out, &f); err != nil {
		t.Fatal(err)
	}
	return f
}

// TestDependencyTable holds the table of DEVELOPERS.md against the direct requirements and the tools of go.mod.
func TestDependencyTable(t *testing.T) {
	text, err := os.ReadFile("DEVELOPERS.md")
	if err != nil {
		t.Fatal(err)
	}
	var direct []string
	f := readModFile(t, "go.mod")
	for _, r := range f.Require {
		if !r.Indirect {
			direct = append(direct, r.Path)
		}
	}
	for _, tool := range f.Tool {
		direct = append(direct, tool.Path)
	}
	table := dependencyTable(string(text))
	if len(table) == 0 {
		t.Fatal("DEVELOPERS.md has no table of modules")
	}
	for _, fault := range tableFaults(direct, table) {
		t.Error(fault)
	}
}

func TestDependencyTableFaults(t *testing.T) {
	direct := []string{"github.com/labstack/echo/v4", "pgregory.net/rapid"}
	for _, c := range []struct {
		name  string
		table []string
		want  []string
	}{
		{"each has its line", []string{"labstack/echo/v4", "pgregory.net/rapid"}, nil},
		{"a parent stands for what is below", []string{"labstack/echo", "pgregory.net/rapid"}, nil},
		{"a line is missing", []string{"labstack/echo/v4"}, []string{"pgregory.net/rapid is not in the table of DEVELOPERS.md"}},
		{"a line too many", []string{"labstack/echo/v4", "pgregory.net/rapid", "lib/pq"},
			[]string{"lib/pq is in the table of DEVELOPERS.md, but go.mod does not require it directly"}},
		{"a name that only begins alike", []string{"labstack/ec", "pgregory.net/rapid"}, []string{
			"labstack/echo/v4 is not in the table of DEVELOPERS.md",
			"labstack/ec is in the table of DEVELOPERS.md, but go.mod does not require it directly"}},
	} {
		if got := tableFaults(direct, c.table); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// dependencyTable reads the modules of the first column.
func dependencyTable(text string) (modules []string) {
	_, text, _ = strings.Cut(text, "| module | for |\n|---|---|\n")
	for line := range strings.Lines(text) {
		cell, isRow := strings.CutPrefix(line, "| ")
		if !isRow {
			break
		}
		cell, _, _ = strings.Cut(cell, " |")
		modules = append(modules, strings.Split(cell, ", ")...)
	}
	return modules
}

func tableFaults(direct, table []string) (faults []string) {
	covered := map[string]bool{}
	for _, path := range direct {
		name := strings.TrimPrefix(path, "github.com/")
		i := slices.IndexFunc(table, func(row string) bool { return in(name, []string{row}) })
		if i < 0 {
			faults = append(faults, name+" is not in the table of DEVELOPERS.md")
			continue
		}
		covered[table[i]] = true
	}
	for _, row := range table {
		if !covered[row] {
			faults = append(faults, row+" is in the table of DEVELOPERS.md, but go.mod does not require it directly")
		}
	}
	return faults
}

// TestSQLiteLibc holds libc at the version that SQLite was generated for: another may crash or corrupt
// (documentation of modernc.org/sqlite, "Fragile modernc.org/libc dependency").
func TestSQLiteLibc(t *testing.T) {
	const libc = "modernc.org/libc"
	out, err := exec.Command("go", "list", "-m", "-f", "{{.GoMod}}", "modernc.org/sqlite").Output()
	if err != nil {
		t.Fatal(err)
	}
	version := func(path string) string {
		for _, r := range readModFile(t, path).Require {
			if r.Path == libc {
				return r.Version
			}
		}
		t.Fatalf("%s does not require %s", path, libc)
		return ""
	}
	if got, want := version("go.mod"), version(strings.TrimSpace(string(out))); got != want {
		t.Errorf("go.mod requires %s %s, SQLite names %s", libc, got, want)
	}
}
