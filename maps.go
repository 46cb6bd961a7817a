package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"

	"levinward/geo"
	"levinward/store"
)

// mapFiles are the flash-density maps given on the command line, by the id
// that inputs name them with. A file is read when the first input asks for it.
type mapFiles map[string]*mapFile

type mapFile struct {
	file string
	name string
	m    *geo.DensityMap
}

// Set takes ID=FILE; it makes mapFiles a flag.
func (f mapFiles) Set(text string) error {
	id, file, ok := strings.Cut(text, "=")
	if !ok || id == "" || file == "" {
		return fmt.Errorf("%q: write ID=FILE", text)
	}
	if f[id] != nil {
		return fmt.Errorf("%q: there are two maps of this id", id)
	}
	f[id] = &mapFile{file: file}
	return nil
}

func (f mapFiles) String() string { return "" }

// DensityMap returns a map and its name; store.ErrNotFound where none was given under the id.
func (f mapFiles) DensityMap(_ context.Context, id string) (*geo.DensityMap, string, error) {
	entry := f[id]
	if entry == nil {
		return nil, "", store.ErrNotFound
	}
	if entry.m == nil {
		if err := entry.read(); err != nil {
			return nil, "", fmt.Errorf("map %s: %w", id, err)
		}
	}
	return entry.m, entry.name, nil
}

// mapMeta is the file beside a map, with the fields that the service takes as parameters.
type mapMeta struct {
	Name string `json:"name"`
	geo.DensityMapMeta
}

func (e *mapFile) read() error {
	text, err := os.ReadFile(e.file + ".json")
	if err != nil {
		return err
	}
	var meta mapMeta
	d := json.NewDecoder(bytes.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&meta); err != nil {
		return fmt.Errorf("%s.json: %w", e.file, err)
	}
	file, err := os.Open(e.file)
	if err != nil {
		return err
	}
	defer file.Close()
	if e.name = meta.Name; e.name == "" {
		e.name = e.file
	}
	e.m, err = geo.ReadDensityMap(file, meta.DensityMapMeta)
	return err
}
