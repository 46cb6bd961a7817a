package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"
)

// maxColumns is the longest line of Go in characters, a tab counting as one. Rows of tables may be longer: they stand as
// printed, one row a line. Generated files are free.
const maxColumns = 140

// heldFolders are the folders, with all below them, whose lines are held to maxColumns.
var heldFolders = []string{
	"risk", "geo", "store", "tabletext",
	"api/apitest", "api/assess", "api/assessments", "api/batch", "api/contract", "api/devices", "api/documents",
	"api/jobs", "api/library", "api/maps", "api/ogc", "api/portfolios", "api/protocol", "api/queue", "api/recompute",
	"api/reference", "api/refusal", "api/shelf", "api/single", "api/sites", "api/table", "api/web", "api/webhook", "api/webhooks", "api/work",
}

func TestLineLength(t *testing.T) {
	for _, folder := range heldFolders {
		err := filepath.WalkDir(folder, func(path string, entry fs.DirEntry, err error) error {
			if err != nil || entry.IsDir() || !strings.HasSuffix(path, ".go") {
				return err
			}
			text, err := os.ReadFile(path)
			if err != nil {
				return err
			}
			for _, fault := range longLines(t, path, string(text)) {
				t.Error(fault)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
}

// maxLines is the most lines of a file that is neither generated, nor a test, nor all tables.
const maxLines = 500

func TestFileLength(t *testing.T) {
	err := filepath.WalkDir(".", func(path string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, text, parser.ParseComments|parser.PackageClauseOnly)
		if err != nil {
			return err
		}
		if n := strings.Count(string(text), "\n"); n > maxLines && !ast.IsGenerated(file) && filepath.Base(path) != "tables.go" {
			t.Errorf("%s has %d lines, at most %d are allowed: part it", path, n, maxLines)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestLongLines(t *testing.T) {
	long := strings.Repeat("x", maxColumns)
	short := strings.Repeat("ö", maxColumns-len(`var x = ""`))
	for _, c := range []struct{ name, text, want string }{
		{"as long as allowed", `var x = "` + short + `"`, ""},
		{"one more", `var x = "` + short + `x"`, "a.go:3 has 141 columns"},
		{"comment", "// " + long, "a.go:3 has 143 columns"},
		{"row of a table", "var x = []string{\n\"" + long + "\",\n}", ""},
		{"row with names", "var x = map[string]string{\n\"a\": \"" + long + "\",\n}", ""},
		{"group of quantities", "var (\nx = \"" + long + "\"\n)", ""},
		{"group of texts", "const (\nx = \"" + long + "\"\n)", ""},
		{"two rows on a line", "var x = []string{\n\"" + long + "\", \"\",\n}", "a.go:4 has 147 columns"},
		{"row that is not alone", "var x = []string{\n\"" + long + "\"}", "a.go:4 has 143 columns"},
		{"statement", "func f() {\nprint(\"" + long + "\")\n}", "a.go:4 has 149 columns"},
	} {
		if got := strings.Join(longLines(t, "a.go", "package a\n\n"+c.text+"\n"), "; "); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
}

// longLines names the lines of a file that are longer than allowed.
func longLines(t *testing.T, path, text string) (faults []string) {
	t.Helper()
	var long []int
	line := 0
	for l := range strings.Lines(text) {
		line++
		if utf8.RuneCountInString(strings.TrimSuffix(l, "\n")) > maxColumns {
			long = append(long, line)
		}
	}
	if len(long) == 0 {
		return nil
	}
	files := token.NewFileSet()
	file, err := parser.ParseFile(files, path, text, parser.ParseComments)
	if err != nil {
		t.Fatal(err)
	}
	if ast.IsGenerated(file) {
		return nil
	}
	rows := tableRows(files, file)
	lines := strings.Split(text, "\n")
	for _, line := range long {
		if !rows[line] {
			faults = append(faults, fmt.Sprintf("%s:%d has %d columns", path, line, utf8.RuneCountInString(lines[line-1])))
		}
	}
	return faults
}

// tableRows finds the lines that are one element of a list, or belong to a group of variables or constants of the package.
func tableRows(files *token.FileSet, file *ast.File) map[int]bool {
	rows := map[int]bool{}
	first := func(n ast.Node) int { return files.Position(n.Pos()).Line }
	last := func(n ast.Node) int { return files.Position(n.End() - 1).Line }
	for _, d := range file.Decls {
		if group, isGroup := d.(*ast.GenDecl); isGroup && group.Lparen.IsValid() && group.Tok != token.TYPE {
			for _, spec := range group.Specs {
				for line := first(spec); line <= last(spec); line++ {
					rows[line] = true
				}
			}
		}
	}
	ast.Inspect(file, func(n ast.Node) bool {
		list, isList := n.(*ast.CompositeLit)
		if !isList {
			return true
		}
		opening, count := files.Position(list.Lbrace).Line, map[int]int{}
		for _, e := range list.Elts {
			count[first(e)]++
		}
		for _, e := range list.Elts {
			if line := first(e); line == last(e) && line > opening && count[line] == 1 && line < last(list) {
				rows[line] = true
			}
		}
		return true
	})
	return rows
}
