package storetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"levinward/store"
)

// densityMap is a valid flash-density map.
func densityMap(name string) store.DensityMap {
	return store.DensityMap{ID: newID(), CreatedAt: day, Name: name, Description: []byte(`{"description of": "` + name + `"}`)}
}

// content is a text of the given length that no database can shorten.
func content(seed uint64, size int) []byte {
	random := rand.New(rand.NewPCG(seed, uint64(size)))
	b := make([]byte, size)
	for i := range b {
		b[i] = byte(random.Uint32())
	}
	return b
}

func (s suite) createMap(t fataler, m store.DensityMap, content []byte) store.DensityMap {
	t.Helper()
	stored, err := s.CreateDensityMap(s.ctx, s.org, m, bytes.NewReader(content))
	if err != nil {
		t.Fatalf("CreateDensityMap: %v", err)
	}
	return stored
}

// holdsMap demands that the store has this map, whole and unchanged.
func (s suite) holdsMap(t fataler, want store.DensityMap, content []byte) {
	t.Helper()
	got, err := s.DensityMap(s.ctx, s.org, want.ID)
	if err != nil {
		t.Fatalf("DensityMap: %v", err)
	}
	want.Size = int64(len(content))
	if !reflect.DeepEqual(got, want) {
		t.Fatalf("got\n%+v\nwant\n%+v", got, want)
	}
	if read := s.readMap(t, want.ID); !bytes.Equal(read, content) {
		t.Fatalf("the content has %d bytes, want %d, or differs", len(read), len(content))
	}
}

func (s suite) readMap(t fataler, id string) []byte {
	t.Helper()
	r, err := s.DensityMapContent(s.ctx, s.org, id)
	if err != nil {
		t.Fatalf("DensityMapContent: %v", err)
	}
	read, err := io.ReadAll(r)
	if err != nil {
		t.Fatalf("reading the content: %v", err)
	}
	return read
}

// noMap demands that nothing is left of a map.
func (s suite) noMap(t fataler, id string) {
	t.Helper()
	_, err := s.DensityMap(s.ctx, s.org, id)
	is(t, err, store.ErrNotFound)
	_, err = s.DensityMapContent(s.ctx, s.org, id)
	is(t, err, store.ErrNotFound)
	for _, m := range s.listMaps(t, 0) {
		if m.ID == id {
			t.Fatalf("%s is still in the list", id)
		}
	}
	is(t, s.DeleteDensityMap(s.ctx, s.org, id), store.ErrNotFound)
}

// listMaps follows the pages to the end.
func (s suite) listMaps(t fataler, limit int) (all []store.DensityMap) {
	t.Helper()
	for cursor := ""; ; {
		page, err := s.ListDensityMaps(s.ctx, s.org, limit, cursor)
		if err != nil {
			t.Fatalf("ListDensityMaps: %v", err)
		}
		if limit > 0 && len(page.Maps) > limit {
			t.Fatalf("%d maps on a page of %d", len(page.Maps), limit)
		}
		all = append(all, page.Maps...)
		if cursor = page.Next; cursor == "" {
			return all
		}
	}
}

func mapsRoundTrip(t *testing.T, s suite) {
	for seed, size := range []int{1, 1000, store.MapChunk - 1, store.MapChunk, store.MapChunk + 1, 2*store.MapChunk + 12345} {
		m := densityMap("Kartenblatt Ö 丘")
		// Neither order nor space, digits nor escapes of the description may change.
		m.Description = []byte("{ \"b\":1.10, \"a\" : 1e-05,\n\"a\":\"\\u00e9\\u0000\" }\r\n")
		m.CreatedAt = time.Date(2031, 5, 17, 23, 59, 59, 999999999, time.FixedZone("", -9*3600))
		bytes := content(uint64(seed), size)
		// However small the pieces are that the content comes in.
		stored, err := s.CreateDensityMap(s.ctx, s.org, m, iotest.HalfReader(strings.NewReader(string(bytes))))
		noError(t, err)
		m.CreatedAt = time.Date(2031, 5, 18, 8, 59, 59, 999999000, time.UTC) // to the microsecond, UTC
		m.Size = int64(size)
		if !reflect.DeepEqual(stored, m) {
			t.Fatalf("got\n%+v\nwant\n%+v", stored, m)
		}
		s.holdsMap(t, m, bytes)
		upper, err := s.DensityMap(s.ctx, s.org, strings.ToUpper(m.ID)) // UUIDs are read in either case
		if err != nil || upper.ID != m.ID {
			t.Fatalf("%s: %v", upper.ID, err)
		}
	}
}

func mapsNotFound(t *testing.T, s suite) {
	m := s.createMap(t, densityMap("alone"), content(1, 10))
	for _, id := range []string{newID(), "", "1", "nobody", m.ID + "0", m.ID[1:], "{" + m.ID + "}",
		"'; DROP TABLE flash_density_map; --", "\x00", "%"} {
		s.noMap(t, id)
	}
	for _, org := range []store.Organisation{"", "nobody", store.Organisation(newID())} {
		_, err := s.DensityMap(s.ctx, org, m.ID)
		is(t, err, store.ErrNotFound)
		_, err = s.DensityMapContent(s.ctx, org, m.ID)
		is(t, err, store.ErrNotFound)
		is(t, s.DeleteDensityMap(s.ctx, org, m.ID), store.ErrNotFound)
		_, err = s.CreateDensityMap(s.ctx, org, densityMap("homeless"), strings.NewReader("x"))
		is(t, err, store.ErrNotFound)
		page, err := s.ListDensityMaps(s.ctx, org, 0, "")
		if err != nil || len(page.Maps) != 0 {
			t.Fatalf("maps of organisation %q: %v, %v", org, page, err)
		}
	}
	s.holdsMap(t, m, content(1, 10))
}

func invalidMaps(t *testing.T, s suite) {
	broken := errors.New("broken off")
	for _, test := range []struct {
		fault   string // what the error must name
		is      error
		spoil   func(*store.DensityMap)
		content io.Reader
	}{
		{"id", store.ErrInvalid, func(m *store.DensityMap) { m.ID = "17" }, strings.NewReader("x")},
		{"name", store.ErrInvalid, func(m *store.DensityMap) { m.Name = "a\x00b" }, strings.NewReader("x")},
		{"name", store.ErrInvalid, func(m *store.DensityMap) { m.Name = "a\xffb" }, strings.NewReader("x")},
		{"name", store.ErrInvalid, func(m *store.DensityMap) { m.Name = strings.Repeat("x", store.MaxText+1) }, strings.NewReader("x")},
		{"description", store.ErrInvalid, func(m *store.DensityMap) { m.Description = nil }, strings.NewReader("x")},
		{"description", store.ErrInvalid, func(m *store.DensityMap) { m.Description = make([]byte, store.MaxMapDescription+1) }, strings.NewReader("x")},
		{"creation time", store.ErrInvalid, func(m *store.DensityMap) { m.CreatedAt = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) }, strings.NewReader("x")},
		{"content", store.ErrInvalid, func(*store.DensityMap) {}, strings.NewReader("")},
		{"broken off", broken, func(*store.DensityMap) {}, io.MultiReader(bytes.NewReader(content(1, store.MapChunk+5)), iotest.ErrReader(broken))},
	} {
		m := densityMap("refused")
		test.spoil(&m)
		_, err := s.CreateDensityMap(s.ctx, s.org, m, test.content)
		is(t, err, test.is)
		if !strings.Contains(err.Error(), test.fault) {
			t.Errorf("error does not name %s: %.300v", test.fault, err)
		}
		s.noMap(t, m.ID)
		if test.fault == "content" || test.is == broken { // what was refused left nothing in the way
			s.createMap(t, m, content(2, 20))
			s.holdsMap(t, m, content(2, 20))
			noError(t, s.DeleteDensityMap(s.ctx, s.org, m.ID))
		}
	}
}

func mapIDTaken(t *testing.T, s suite) {
	first := densityMap("first")
	s.createMap(t, first, content(1, 100))
	second := densityMap("second")
	second.ID = first.ID
	_, err := s.CreateDensityMap(s.ctx, s.org, second, bytes.NewReader(content(2, 50)))
	is(t, err, store.ErrExists)
	s.holdsMap(t, first, content(1, 100))
}

// mapsDeleted also demands that a deleted map leaves no chunk behind.
func mapsDeleted(t *testing.T, s suite) {
	m, kept := densityMap("gone"), densityMap("kept")
	s.createMap(t, m, content(1, 3*store.MapChunk))
	s.createMap(t, kept, content(2, 100))
	r, err := s.DensityMapContent(s.ctx, s.org, m.ID)
	noError(t, err)
	if _, err := io.ReadFull(r, make([]byte, 100)); err != nil {
		t.Fatal(err)
	}
	noError(t, s.DeleteDensityMap(s.ctx, s.org, m.ID))
	_, err = io.ReadAll(r)
	is(t, err, store.ErrNotFound)
	s.noMap(t, m.ID)
	s.createMap(t, m, content(3, 100))
	s.holdsMap(t, m, content(3, 100))
	s.holdsMap(t, kept, content(2, 100))
}

func mapPages(t *testing.T, s suite) {
	const n = 25
	var names []string
	for i := range n {
		m := densityMap(fmt.Sprint("map ", i))
		m.CreatedAt = day.Add(time.Duration(i/3) * time.Second) // some at the same time: then by id
		s.createMap(t, m, []byte{1})
		names = append([]string{m.Name}, names...)
	}
	for _, limit := range []int{0, 1, 2, 7, n, n + 1, 1 << 30} {
		var got []string
		for _, m := range s.listMaps(t, limit) {
			if m.Size != 1 || len(m.Description) == 0 {
				t.Fatalf("in the list: %+v", m)
			}
			got = append(got, m.Name)
		}
		if !reflect.DeepEqual(got, names) {
			t.Fatalf("pages of %d: %v, want %v", limit, got, names)
		}
	}
	for _, cursor := range []string{"x", "!", strings.Repeat("A", 31), "\x00"} {
		_, err := s.ListDensityMaps(s.ctx, s.org, 0, cursor)
		is(t, err, store.ErrBadCursor)
	}
}

func mapsOfOrganisations(t *testing.T, s suite) {
	other := store.Organisation(newID())
	noError(t, s.AddOrganisation(s.ctx, other, "other"))
	m := densityMap("theirs")
	_, err := s.CreateDensityMap(s.ctx, other, m, bytes.NewReader(content(1, 10)))
	noError(t, err)
	s.noMap(t, m.ID)
	s.createMap(t, m, content(2, 20)) // ids are those of an organisation
	s.holdsMap(t, m, content(2, 20))
	noError(t, s.DeleteDensityMap(s.ctx, s.org, m.ID))
	s.org = other
	s.holdsMap(t, m, content(1, 10))
}

// mapContextEnds cancels at every chunk.
func mapContextEnds(t *testing.T, s suite) {
	bytes := content(1, 2*store.MapChunk+1)
	for after := range int64(4) {
		ctx, cancel := context.WithCancel(s.ctx)
		r := &cancelling{strings.NewReader(string(bytes)), after * store.MapChunk, cancel}
		m := densityMap("cancelled")
		_, err := s.CreateDensityMap(ctx, s.org, m, r)
		cancel()
		if after < 3 {
			is(t, err, context.Canceled)
			s.noMap(t, m.ID)
		} else {
			noError(t, err)
			s.holdsMap(t, m, bytes)
		}
	}
	ctx, cancel := context.WithCancel(s.ctx)
	cancel()
	_, err := s.DensityMap(ctx, s.org, newID())
	is(t, err, context.Canceled)
	_, err = s.ListDensityMaps(ctx, s.org, 0, "")
	is(t, err, context.Canceled)
}

// cancelling calls cancel when so much was read.
type cancelling struct {
	io.Reader
	left   int64
	cancel func()
}

func (c *cancelling) Read(p []byte) (int, error) {
	n, err := c.Reader.Read(p)
	if c.left -= int64(n); c.left < 0 {
		c.cancel()
	}
	return n, err
}

func manyMaps(t *testing.T, s suite) {
	const n = 24
	maps := make([]store.DensityMap, n)
	errs := make([]error, n)
	together(n, func(i int) {
		maps[i] = densityMap(fmt.Sprint("map ", i))
		_, errs[i] = s.CreateDensityMap(s.ctx, s.org, maps[i], bytes.NewReader(content(uint64(i), 100_000)))
	})
	noError(t, errors.Join(errs...))
	together(n, func(i int) { // half of them go while all are read
		if i%2 == 0 {
			errs[i] = s.DeleteDensityMap(s.ctx, s.org, maps[i].ID)
			return
		}
		r, err := s.DensityMapContent(s.ctx, s.org, maps[i].ID)
		if err == nil {
			_, err = io.ReadAll(r)
		}
		errs[i] = err
	})
	noError(t, errors.Join(errs...))
	for i, m := range maps {
		if i%2 == 0 {
			s.noMap(t, m.ID)
		} else {
			s.holdsMap(t, m, content(uint64(i), 100_000))
		}
	}
}
