package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// telling are the commands that tell results of a site, as they are called; silent are the others.
var (
	telling = map[string][][]string{
		"assess":       {{"testdata/demo/health-post.json"}, {"-json", "testdata/demo/smallest.json"}},
		"check-device": {{":check"}, {"-json", ":check"}},
		"import":       {{"-database", ":db", "-portfolio", "P", "testdata/demo/villages.csv"}},
	}
	silent = []string{"serve", "migrate", "version", "reference", "review"}
)

// Every command that tells results of a site says that local codes and a licensed practitioner decide, and that the earth
// connection comes first. A command of the usage that stands in neither list fails.
func TestEveryCommandCautions(t *testing.T) {
	check := filepath.Join(t.TempDir(), "check.json")
	const proved = `{"device": {"up_kv": 1.5}, "line": {"length_m": 12}, "structure": {"earthing": {"connection": "measured", "resistance_ohm": 8}}}`
	if err := os.WriteFile(check, []byte(proved), 0o600); err != nil {
		t.Fatal(err)
	}
	replace := strings.NewReplacer(":check", check, ":db", filepath.Join(t.TempDir(), "site.db"))
	known := map[string]bool{}
	for _, name := range silent {
		known[name] = true
	}
	for _, m := range regexp.MustCompile(`(?m)^  levinward ([a-z-]+)`).FindAllStringSubmatch(usage, -1) {
		name := m[1]
		calls, tells := telling[name]
		if tells == known[name] {
			t.Errorf("%s has to stand in one of the lists telling and silent", name)
		}
		for _, call := range calls {
			args := []string{name}
			for _, a := range call {
				args = append(args, replace.Replace(a))
			}
			status, out, errs := command(t, "", args...)
			text := strings.Join(strings.Fields(out), " ") // lines are broken
			if status != exitOK || !strings.Contains(text, "codes and a licensed practitioner") || !strings.Contains(text, "earth connection") {
				t.Errorf("%q: status %d: %s%s", args, status, out, errs)
			}
		}
	}
}
