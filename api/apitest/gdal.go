package apitest

import (
	"os"
	"os/exec"
	"testing"
)

// RequireGDAL passes a test over where GDAL is missing and not required.
func RequireGDAL(t *testing.T) {
	t.Helper()
	if _, err := exec.LookPath("ogrinfo"); err != nil {
		if os.Getenv("LEVINWARD_REQUIRE_GDAL") == "1" {
			t.Fatal("ogrinfo is required and not installed (Debian: gdal-bin)")
		}
		t.Skip("ogrinfo is not installed (Debian: gdal-bin); nothing is read by GDAL")
	}
}

// Run runs a program and returns what it says.
func Run(t testing.TB, name string, arguments ...string) string {
	t.Helper()
	out, err := exec.CommandContext(t.Context(), name, arguments...).CombinedOutput()
	if err != nil {
		t.Fatalf("%s %v: %v: %s", name, arguments, err, out)
	}
	return string(out)
}
