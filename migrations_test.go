package main

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"maps"
	"path"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
)

// released lists the migrations a database may have seen already, as sha256sum writes it. They never change.
const released = "released.txt"

var migrationName = regexp.MustCompile(`^(\d{5})_[a-z_]+\.sql$`)

func TestMigrations(t *testing.T) {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		t.Fatal(err)
	}
	for _, fault := range migrationFaults(t, files) {
		t.Error(fault)
	}
}

// TestMigrationFaults breaks one rule at a time.
func TestMigrationFaults(t *testing.T) {
	const first, second = "CREATE TABLE a (id INTEGER);", "CREATE TABLE b (id INTEGER);"
	line := func(name, text string) string { return fmt.Sprintf("%x  %s\n", sha256.Sum256([]byte(text)), name) }
	for _, c := range []struct {
		name  string
		alter func(files fstest.MapFS)
		fault string // "" for none
	}{
		{"as it should be", func(fstest.MapFS) {}, ""},
		{"a released one changed", func(f fstest.MapFS) { f["sqlite/00001_a.sql"].Data = []byte(first + " ") },
			"sqlite/00001_a.sql is released and has changed"},
		{"a released one gone", func(f fstest.MapFS) { delete(f, "sqlite/00002_b.sql"); delete(f, "postgres/00002_b.sql") },
			"sqlite/00002_b.sql is released and is gone"},
		{"without its pair", func(f fstest.MapFS) { delete(f, "postgres/00002_b.sql") },
			"00002_b.sql is in sqlite and not in postgres"},
		{"a pair of two names", func(f fstest.MapFS) {
			f["sqlite/00003_c.sql"], f["postgres/00003_d.sql"] = &fstest.MapFile{}, &fstest.MapFile{}
		}, "00003_d.sql is in postgres and not in sqlite"},
		{"a number twice", func(f fstest.MapFS) { f["sqlite/00002_c.sql"] = &fstest.MapFile{} },
			"sqlite has number 00002 twice: 00002_b.sql, 00002_c.sql"},
		{"a number left out", func(f fstest.MapFS) { f["sqlite/00004_d.sql"] = &fstest.MapFile{} },
			"sqlite/00004_d.sql should have number 00003"},
		{"a name without a number", func(f fstest.MapFS) { f["sqlite/c.sql"] = &fstest.MapFile{} },
			"sqlite/c.sql: the name is not five digits, _, lower-case letters, .sql"},
		{"not listed", func(f fstest.MapFS) {
			f["sqlite/00003_c.sql"] = &fstest.MapFile{Data: []byte(first)}
			f["postgres/00003_c.sql"] = &fstest.MapFile{Data: []byte(first)}
		}, "sqlite/00003_c.sql is not listed; add to released.txt: " + strings.TrimSpace(line("sqlite/00003_c.sql", first))},
	} {
		files := fstest.MapFS{}
		var list strings.Builder
		for name, text := range map[string]string{"00001_a.sql": first, "00002_b.sql": second} {
			for _, store := range []string{"sqlite/", "postgres/"} {
				files[store+name] = &fstest.MapFile{Data: []byte(text)}
				list.WriteString(line(store+name, text))
			}
		}
		files[released] = &fstest.MapFile{Data: []byte(list.String())}
		c.alter(files)
		faults := migrationFaults(t, files)
		if (c.fault == "" && len(faults) > 0) || (c.fault != "" && !slices.Contains(faults, c.fault)) {
			t.Errorf("%s: faults %q, want %q", c.name, faults, c.fault)
		}
	}
}

// migrationFaults tells what is wrong with the numbers, names and texts of the migrations of both stores.
func migrationFaults(t *testing.T, files fs.FS) (faults []string) {
	t.Helper()
	names, hashes := map[string][]string{}, map[string]string{} // by store; by path
	for _, store := range []string{"postgres", "sqlite"} {
		entries, err := fs.ReadDir(files, store)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			names[store] = append(names[store], e.Name())
			text, err := fs.ReadFile(files, path.Join(store, e.Name()))
			if err != nil {
				t.Fatal(err)
			}
			hashes[path.Join(store, e.Name())] = fmt.Sprintf("%x", sha256.Sum256(text))
		}
		faults = append(faults, numberFaults(store, names[store])...)
	}
	for _, pair := range [][2]string{{"postgres", "sqlite"}, {"sqlite", "postgres"}} {
		for _, name := range names[pair[0]] {
			if !slices.Contains(names[pair[1]], name) {
				faults = append(faults, name+" is in "+pair[0]+" and not in "+pair[1])
			}
		}
	}
	text, err := fs.ReadFile(files, released)
	if err != nil {
		t.Fatal(err)
	}
	return append(faults, releaseFaults(string(text), hashes)...)
}

// numberFaults wants the numbers 1, 2, 3, … each once. Names come sorted.
func numberFaults(store string, names []string) (faults []string) {
	previous, want := "", 1
	for _, name := range names {
		m := migrationName.FindStringSubmatch(name)
		if m == nil {
			faults = append(faults, store+"/"+name+": the name is not five digits, _, lower-case letters, .sql")
			continue
		}
		if strings.HasPrefix(previous, m[1]+"_") {
			faults = append(faults, store+" has number "+m[1]+" twice: "+previous+", "+name)
			continue
		}
		if number := fmt.Sprintf("%05d", want); m[1] != number {
			faults = append(faults, store+"/"+name+" should have number "+number)
		}
		previous = name
		want++
	}
	return faults
}

// releaseFaults holds the hash of each migration against the list, lines of hash, two blanks and path.
func releaseFaults(list string, hashes map[string]string) (faults []string) {
	listed := map[string]bool{}
	for line := range strings.Lines(list) {
		hash, name, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "  ")
		listed[name] = true
		switch found, there := hashes[name]; {
		case !there:
			faults = append(faults, name+" is released and is gone")
		case found != hash:
			faults = append(faults, name+" is released and has changed")
		}
	}
	for _, name := range slices.Sorted(maps.Keys(hashes)) {
		if !listed[name] {
			faults = append(faults, name+" is not listed; add to "+released+": "+hashes[name]+"  "+name)
		}
	}
	return faults
}
