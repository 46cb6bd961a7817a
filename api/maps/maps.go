package maps

import (
	"levinward/tabletext"

	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/geo"
	"levinward/store"
)

// mapMedia are the media types that a map may be sent as; its form shows in its first bytes.
var mapMedia = []string{"application/octet-stream", "image/tiff", "text/csv", "text/plain"}

const (
	// mapTime is how long an upload may take, which may come over a slow line.
	mapTime = 10 * time.Minute
	// AtOnce is how many uploads are in memory at a time, each with up to 1 GB; slotTime how long another one waits.
	AtOnce = 2
)

// mapMeta reads the parameters of an upload, all faults at once.
func mapMeta(c echo.Context) (name string, meta geo.DensityMapMeta, err error) {
	q := c.QueryParams()
	var faults []refusal.Fault
	fault := func(parameter, reason string) {
		faults = append(faults, refusal.Fault{Parameter: parameter, Reason: reason})
	}
	for _, required := range []string{"name", "kind", "from_year", "to_year", "source"} {
		if strings.TrimSpace(q.Get(required)) == "" {
			fault(required, "is required")
		}
	}
	year := func(parameter string) int {
		n, err := strconv.Atoi(q.Get(parameter))
		if err != nil && q.Get(parameter) != "" {
			fault(parameter, "must be a year, a whole number; found "+strconv.Quote(q.Get(parameter)))
		}
		return n
	}
	ratio := 0.0
	if q.Has("cloud_to_ground_ratio") {
		var ok bool
		if ratio, ok = protocol.PlainNumber(q.Get("cloud_to_ground_ratio")); !ok {
			fault("cloud_to_ground_ratio", "must be a number; found "+strconv.Quote(q.Get("cloud_to_ground_ratio")))
		} else if ratio == 0 {
			fault("cloud_to_ground_ratio", "0: must be above 0")
		}
	}
	meta = geo.DensityMapMeta{
		Kind: geo.DensityKind(q.Get("kind")), CloudToGroundRatio: ratio, Relation: geo.ThunderstormDayRelation(q.Get("relation")),
		FromYear: year("from_year"), ToYear: year("to_year"), Source: q.Get("source"), LicenceNote: q.Get("licence_note"),
		Decimal: tabletext.Decimal(q.Get("decimal")),
	}
	name = q.Get("name")
	if utf8.RuneCountInString(name) > maxMapName {
		fault("name", "must be a text of at most "+strconv.Itoa(maxMapName)+" characters")
	}
	for _, text := range []string{"name", "source", "licence_note"} {
		if t := q.Get(text); strings.ContainsFunc(t, unicode.IsControl) || !utf8.ValidString(t) {
			fault(text, "must not hold control characters or bytes that are not UTF-8")
		}
	}
	for _, f := range meta.Faults() {
		if !slices.ContainsFunc(faults, func(found refusal.Fault) bool { return found.Parameter == f.Where }) {
			fault(f.Where, f.Detail)
		}
	}
	if q.Has("relation") && meta.Relation == "" {
		fault("relation", "is empty; leave it out")
	}
	if len(faults) > 0 {
		return "", meta, refusal.BadParameter.Problem("", faults...)
	}
	return name, meta, nil
}

const maxMapName = 200

// createMap reads and stores a flash-density map.
func (s *Service) createMap(c echo.Context) error {
	name, meta, err := mapMeta(c)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(c.Request().Context(), mapTime)
	defer cancel()
	release, err := protocol.Slot(ctx, s.Slots, "other maps are being read; nothing was stored, try again later")
	if err != nil {
		return err
	}
	defer release()
	m, err := readMap(ctx, c, meta, s.Limits)
	if err != nil {
		return err
	}
	return s.storeMap(ctx, c, name, m)
}

// readMap reads the map in a body.
func readMap(ctx context.Context, c echo.Context, meta geo.DensityMapMeta, limits geo.DensityMapLimits) (*geo.DensityMap, error) {
	r := c.Request()
	if got := protocol.MediaTypeOf(r.Header.Get(echo.HeaderContentType)); !slices.Contains(mapMedia, got) {
		return nil, refusal.WrongMediaType.Problem("send " + strings.Join(mapMedia, ", ") + "; found " + strconv.Quote(got))
	}
	if r.Header.Get(echo.HeaderContentEncoding) != "" {
		return nil, refusal.WrongMediaType.Problem("send the body without a content encoding")
	}
	mapTooLarge := refusal.TooLarge.Problem("at most " + strconv.FormatInt(limits.MaxBytes, 10) + " bytes")
	if r.ContentLength > limits.MaxBytes {
		return nil, mapTooLarge
	}
	// The time limits of the server are for small bodies; not every writer can change them.
	deadline, control := time.Now().Add(mapTime), http.NewResponseController(c.Response())
	_ = errors.Join(control.SetReadDeadline(deadline), control.SetWriteDeadline(deadline))
	m, err := limits.Read(contextReader{ctx, http.MaxBytesReader(c.Response(), r.Body, limits.MaxBytes)}, meta)
	var faulty *geo.DensityMapError
	switch {
	case protocol.IsTooLarge(err):
		return nil, mapTooLarge
	case errors.As(err, &faulty):
		return nil, mapFaults(faulty)
	case err != nil:
		return nil, refusal.Unreadable.Problem("the body ended early; nothing was stored")
	}
	return m, nil
}

// contextReader stops when its context ends.
type contextReader struct {
	ctx context.Context
	r   io.Reader
}

func (r contextReader) Read(p []byte) (int, error) {
	if err := r.ctx.Err(); err != nil {
		return 0, err
	}
	return r.r.Read(p)
}

// mapFaults writes the faults of a file. What is at fault is the body as a whole; the reason says where in it.
func mapFaults(e *geo.DensityMapError) *refusal.Problem {
	faults := make([]refusal.Fault, len(e.Faults))
	for i, f := range e.Faults {
		faults[i] = refusal.FaultAt("", f.String())
		faults[i].Rule = string(f.Code)
	}
	n := len(e.Faults) + e.More
	detail := strconv.Itoa(n) + " faults"
	switch {
	case n == 1:
		detail = "1 fault"
	case e.More > 0:
		detail += ", the first " + strconv.Itoa(len(e.Faults)) + " of them here"
	}
	return refusal.InvalidMap.Problem(detail+"; nothing was stored", faults...)
}

// storeMap stores a map and answers what it holds.
func (s *Service) storeMap(ctx context.Context, c echo.Context, name string, m *geo.DensityMap) error {
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	description := wire.DescribeMap(m)
	text, err := protocol.Encode(description)
	if err != nil {
		return err
	}
	var content chunks
	if _, err := m.WriteTo(&content); err != nil {
		return err
	}
	stored, err := s.Store.CreateDensityMap(ctx, store.Local,
		store.DensityMap{ID: id.String(), CreatedAt: s.Now(), Name: name, Description: text}, content.reader())
	if err != nil {
		return err
	}
	doc, err := s.mapDocument(&stored)
	if err != nil {
		return err
	}
	body, err := protocol.Encode(doc)
	if err != nil {
		return err
	}
	c.Response().Header().Set("Location", "/v1/flash-density-maps/"+stored.ID)
	return c.Blob(http.StatusCreated, protocol.MediaJSON, body)
}

// chunks is a long text in memory, without the copies of a buffer that grows.
type chunks struct{ list [][]byte }

func (c *chunks) Write(p []byte) (int, error) {
	n := len(p)
	for len(p) > 0 {
		last := len(c.list) - 1
		if last < 0 || len(c.list[last]) == cap(c.list[last]) {
			c.list = append(c.list, make([]byte, 0, 1<<20))
			last++
		}
		room := min(len(p), cap(c.list[last])-len(c.list[last]))
		c.list[last], p = append(c.list[last], p[:room]...), p[room:]
	}
	return n, nil
}

func (c *chunks) reader() io.Reader {
	readers := make([]io.Reader, len(c.list))
	for i, chunk := range c.list {
		readers[i] = bytes.NewReader(chunk)
	}
	return io.MultiReader(readers...)
}

// mapDocument writes a stored map as an answer.
func (s *Service) mapDocument(m *store.DensityMap) (*wire.FlashDensityMap, error) {
	doc := &wire.FlashDensityMap{ID: m.ID, Name: m.Name, CreatedAt: m.CreatedAt}
	if err := json.Unmarshal(m.Description, &doc.MapDescription); err != nil {
		return nil, fmt.Errorf("description of map %s: %w", m.ID, err)
	}
	doc.Cautions = wire.MapCautions(&doc.MapDescription, s.Now().Year())
	return doc, nil
}

// noSuchMap turns the error of the store into that of a map.
func noSuchMap(err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return refusal.NotFound.Problem("there is no such flash-density map")
	}
	return err
}

// listMaps answers a page of maps, the one stored last first.
func (s *Service) listMaps(c echo.Context) error {
	f, err := protocol.Filter(c, s.Now())
	if err != nil {
		return err
	}
	page, err := s.Store.ListDensityMaps(c.Request().Context(), store.Local, f.Limit, f.Cursor)
	if err != nil {
		return err
	}
	list := wire.FlashDensityMapList{Maps: make([]wire.FlashDensityMap, len(page.Maps))}
	for i := range page.Maps {
		doc, err := s.mapDocument(&page.Maps[i])
		if err != nil {
			return err
		}
		list.Maps[i] = *doc
	}
	if page.Next != "" {
		c.Response().Header().Set("Link", "<"+protocol.NextPage(c.Request().URL, page.Next)+`>; rel="next"`)
	}
	return protocol.Answer(c, list)
}

// getMap answers what a map holds.
func (s *Service) getMap(c echo.Context) error {
	m, err := s.Store.DensityMap(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return noSuchMap(err)
	}
	doc, err := s.mapDocument(&m)
	if err != nil {
		return err
	}
	return protocol.Answer(c, doc)
}

// removeMap deletes a map. No stored result needs it any more.
func (s *Service) removeMap(c echo.Context) error {
	if err := s.Store.DeleteDensityMap(c.Request().Context(), store.Local, c.Param("id")); err != nil {
		return noSuchMap(err)
	}
	s.Maps.Forget(c.Param("id"))
	return c.NoContent(http.StatusNoContent)
}

// sampleMap answers what a map says about one position.
func (s *Service) sampleMap(c echo.Context) error {
	var place [2]float64
	var faults []refusal.Fault
	for i, p := range []struct {
		name  string
		limit float64
	}{{"longitude", 180}, {"latitude", 90}} {
		text := c.QueryParam(p.name)
		v, ok := protocol.PlainNumber(text)
		if !ok || v < -p.limit || v > p.limit {
			limit := strconv.FormatFloat(p.limit, 'f', -1, 64)
			faults = append(faults, refusal.Fault{Parameter: p.name,
				Reason: "must be a number in degrees, at least -" + limit + ", at most " + limit + "; found " + strconv.Quote(text)})
		}
		place[i] = v
	}
	if len(faults) > 0 {
		return refusal.BadParameter.Problem("", faults...)
	}
	m, _, err := s.Maps.DensityMap(c.Request().Context(), c.Param("id"))
	if err != nil {
		return noSuchMap(err)
	}
	sample, err := m.Sample(place[0], place[1])
	if err != nil {
		return refusal.NoMapValue.Problem(err.Error())
	}
	return protocol.Answer(c, wire.NewFlashDensitySample(strings.ToLower(c.Param("id")), place[0], place[1], &sample))
}
