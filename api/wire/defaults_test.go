package wire_test

import (
	"strings"
	"testing"

	"levinward/api/wire"
	"levinward/risk"
)

// An invented site with two lines of two sections and two zones, one of them outside, that states almost nothing.
const bare = `{"name": "Invented", "location": {"latitude": -3, "longitude": 36}, "flash_density": {"ground_flashes_per_km2_year": 4},
	"structures": [{"id": "hall", "length_m": 20, "width_m": 10, "height_m": 5, "zones": [
		{"id": "room", "systems": [{"line": "a"}, {"line": "b"}]}, {"id": "store"}, {"id": "yard", "place": "outside"}]}],
	"lines": [{"id": "a", "structure": "hall", "sections": [{}, {}, {}]}, {"id": "b", "structure": "hall"}]}`

func coreOf(t *testing.T, body string) *wire.Site {
	t.Helper()
	in, ok := wire.Decode([]byte(body))
	if !ok {
		t.Fatalf("not accepted: %s", body)
	}
	site := in.Core()
	if len(site.Violations) > 0 {
		t.Fatal(site.Violations)
	}
	return site
}

// withPlausible is the site with the plausible value of the default at a pointer.
func withPlausible(t *testing.T, body, pointer, value string) *risk.Input {
	t.Helper()
	site := coreOf(t, body)
	for i := range site.Assumed {
		a := &site.Assumed[i]
		if a.Pointer() != pointer {
			continue
		}
		for _, p := range a.Plausible {
			if p.Value == value {
				p.Set(&site.Input, a.Where)
				return &site.Input
			}
		}
	}
	t.Fatalf("no default at %s with the plausible value %s", pointer, value)
	return nil
}

// A plausible value goes to the one place whose default it stands for, or to all that the default stands for.
func TestPlausibleValuesGoToTheirPlace(t *testing.T) {
	type place struct{ line, section int }
	for pointer, want := range map[string]place{
		"/lines/0/sections/0/installation": {0, 0}, "/lines/0/sections/1/installation": {0, 1}, "/lines/0/sections/2/installation": {0, 2}, "/lines/1/installation": {1, 0},
	} {
		in := withPlausible(t, bare, pointer, "buried")
		for l := range in.Lines {
			for s := range in.Lines[l].Sections {
				if got := in.Lines[l].Sections[s].Installation == risk.Buried; got != (place{l, s} == want) {
					t.Errorf("%s: section %d of line %d buried: %v", pointer, s, l, got)
				}
			}
		}
		length := pointer[:len(pointer)-len("installation")] + "length_m"
		in = withPlausible(t, bare, length, "300")
		for l := range in.Lines {
			for s := range in.Lines[l].Sections {
				if got := in.Lines[l].Sections[s].Length == 300; got != (place{l, s} == want) {
					t.Errorf("%s: section %d of line %d has 300 m: %v", length, s, l, got)
				}
			}
		}
	}
	for n, pointer := range []string{"/structures/0/zones/0/systems/0/wiring", "/structures/0/zones/0/systems/1/wiring"} {
		in := withPlausible(t, bare, pointer, "loops_avoided")
		for z := range in.Structures[0].Zones {
			for i, sys := range in.Structures[0].Zones[z].Systems {
				if got := sys.Wiring == risk.LoopsAvoided; got != (z == 0 && i == n) {
					t.Errorf("%s: system %d of zone %d avoids loops: %v", pointer, i, z, got)
				}
			}
		}
	}
	in := withPlausible(t, bare, "/structures/0/zones/1/systems", "loops avoided")
	for z := range in.Structures[0].Zones {
		for i, sys := range in.Structures[0].Zones[z].Systems {
			if got := sys.Wiring == risk.LoopsAvoided; got != (z == 1) {
				t.Errorf("systems of zone 1: system %d of zone %d avoids loops: %v", i, z, got)
			}
		}
	}
}

// Concrete inside, agricultural soil outside (IEC 62305-2:2010 Table C.3: the rows with the highest r_t of floors and of soils).
func TestDefaultSurfaceFollowsThePlace(t *testing.T) {
	site := coreOf(t, bare)
	want := map[string]string{"/structures/0/zones/0/surface": "concrete", "/structures/0/zones/1/surface": "concrete", "/structures/0/zones/2/surface": "agricultural"}
	for i := range site.Assumed {
		a := &site.Assumed[i]
		if value, ok := want[a.Pointer()]; ok && a.Value != value {
			t.Errorf("%s is taken as %s, want %s", a.Pointer(), a.Value, value)
		}
		delete(want, a.Pointer())
	}
	if len(want) > 0 {
		t.Errorf("no default at %v", want)
	}
}

// A text that may be left out has its limits all the same (openapi.yaml: reference 200, shared_route 100 characters).
func TestTextsKeepTheirLimits(t *testing.T) {
	for n, accepted := range map[int]bool{200: true, 201: false} {
		body := strings.Replace(bare, `"name": "Invented"`, `"name": "Invented", "reference": "`+strings.Repeat("é", n)+`"`, 1)
		if _, ok := wire.Decode([]byte(body)); ok != accepted {
			t.Errorf("a reference of %d characters: %v", n, ok)
		}
	}
	for n, accepted := range map[int]bool{100: true, 101: false} {
		body := strings.Replace(bare, `"id": "a", `, `"id": "a", "shared_route": "`+strings.Repeat("x", n)+`", `, 1)
		if _, ok := wire.Decode([]byte(body)); ok != accepted {
			t.Errorf("a shared route of %d characters: %v", n, ok)
		}
	}
}
