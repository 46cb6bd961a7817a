package apitest

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// WriteFile writes a file of a test.
func WriteFile(t testing.TB, file string, content []byte) {
	t.Helper()
	if err := os.WriteFile(file, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

// File reads a file of the project.
func File(t testing.TB, name string) []byte {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(root(t), name))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// root is the folder of the project: the first one above that of the test with go.mod in it.
func root(t testing.TB) string {
	t.Helper()
	folder, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(folder, "go.mod")); err == nil {
			return folder
		}
		above := filepath.Dir(folder)
		if above == folder {
			t.Fatal("no folder above has a file go.mod")
		}
		folder = above
	}
}

// Migrations are those of a database, "sqlite" or "postgres".
func Migrations(t testing.TB, database string) fs.FS {
	t.Helper()
	return os.DirFS(filepath.Join(root(t), "migrations", database))
}

// Demo is the invented health post: an input with much in it.
func Demo(t testing.TB) []byte { t.Helper(); return File(t, "testdata/demo/health-post.json") }

// Smallest is the smallest input there may be.
func Smallest(t testing.TB) []byte { t.Helper(); return File(t, "testdata/demo/smallest.json") }
