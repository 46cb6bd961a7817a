package ogc

import (
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/sites"
	"levinward/api/wire"
	"levinward/store"
)

// Portfolios as feature collections: OGC API - Features, Part 1: Core (OGC
// 17-069r4), in GeoJSON. Every document has this one form, whatever the request accepts.

const (
	crs84     = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"
	gregorian = "http://www.opengis.net/def/uom/ISO-8601/0/Gregorian"
)

// conformance are the requirement classes that are met.
var conformance = wire.Conformance{ConformsTo: []string{
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/oas30",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
}}

// baseURL is where the client reached the service; links have to be absolute for some. A proxy
// tells it by X-Forwarded-Proto and X-Forwarded-Host, the one nearest to the client first.
func baseURL(c echo.Context) string {
	scheme, host := "http", c.Request().Host
	if c.Scheme() == "https" {
		scheme = "https"
	}
	first, _, _ := strings.Cut(c.Request().Header.Get("X-Forwarded-Host"), ",")
	if u, err := url.Parse("//" + strings.TrimSpace(first)); err == nil && u.Hostname() != "" && u.Host == strings.TrimSpace(first) {
		host = u.Host
	}
	return scheme + "://" + host
}

// PlainRequest lets clients of the features ask for the head of an answer, whose body the HTTP server
// keeps back, and write the address of the landing page with a slash behind it.
func PlainRequest(r *http.Request) *http.Request {
	slash := r.URL.Path == "/ogc/"
	if !slash && r.URL.Path != "/ogc" && !strings.HasPrefix(r.URL.Path, "/ogc/") || !slash && r.Method != http.MethodHead {
		return r
	}
	r = r.Clone(r.Context()) // the HTTP server still needs the other one
	if r.Method == http.MethodHead {
		r.Method = http.MethodGet
	}
	if slash {
		r.URL.Path, r.URL.RawPath = "/ogc", ""
	}
	return r
}

// setLinks repeats the links of a document in the head of the answer (RFC 8288).
func setLinks(c echo.Context, links []wire.Link) {
	for _, l := range links {
		c.Response().Header().Add("Link", "<"+l.Href+`>; rel="`+l.Rel+`"; type="`+strings.ReplaceAll(l.Type, `"`, "")+`"`)
	}
}

func (s *Service) ogcLanding(c echo.Context) error {
	base := baseURL(c)
	page := wire.LandingPage{
		Title:       "levinward",
		Description: "Lightning risk of sites. Every portfolio is a collection of features; its results are a screening and design aid.",
		Links: []wire.Link{
			{Href: base + "/ogc", Rel: "self", Type: protocol.MediaJSON, Title: "This page"},
			{Href: base + "/ogc/api", Rel: "service-desc", Type: protocol.MediaOpenAPI, Title: "The contract"},
			{Href: base + "/docs/", Rel: "service-doc", Type: protocol.MediaHTML, Title: "The contract to browse"},
			{Href: base + "/ogc/conformance", Rel: "conformance", Type: protocol.MediaJSON, Title: "What the service conforms to"},
			{Href: base + "/ogc/collections", Rel: "data", Type: protocol.MediaJSON, Title: "The portfolios"},
		},
	}
	setLinks(c, page.Links)
	return protocol.Answer(c, page)
}

func (s *Service) ogcConformance(c echo.Context) error { return protocol.Answer(c, conformance) }

// ogcCollections answers every portfolio.
func (s *Service) ogcCollections(c echo.Context) error {
	base := baseURL(c)
	all := wire.Collections{
		Links:       []wire.Link{{Href: base + "/ogc/collections", Rel: "self", Type: protocol.MediaJSON}},
		Collections: []wire.Collection{},
		Cautions:    assess.Cautions(),
	}
	for cursor := ""; ; {
		page, err := s.Store.ListPortfolios(c.Request().Context(), store.Local, store.MaxLimit, cursor)
		if err != nil {
			return err
		}
		some, err := s.collections(c, page.Portfolios)
		if err != nil {
			return err
		}
		all.Collections = append(all.Collections, some...)
		if cursor = page.Next; cursor == "" {
			setLinks(c, all.Links)
			return protocol.Answer(c, all)
		}
	}
}

// collections describes portfolios. Their extents are read together.
func (s *Service) collections(c echo.Context, portfolios []store.Portfolio) ([]wire.Collection, error) {
	ids := make([]string, len(portfolios))
	for i := range portfolios {
		ids[i] = portfolios[i].ID
	}
	extents, err := s.Store.Extents(c.Request().Context(), store.Local, ids)
	if err != nil {
		return nil, err
	}
	all := make([]wire.Collection, len(portfolios))
	for i := range portfolios {
		all[i] = collection(baseURL(c), &portfolios[i])
		if e, ok := extents[portfolios[i].ID]; ok {
			all[i].Extent = extent(&e)
		}
	}
	return all, nil
}

func extent(e *store.Extent) *wire.Extent {
	return &wire.Extent{
		Spatial:  wire.SpatialExtent{BBox: [][]float64{{e.West, e.South, e.East, e.North}}, CRS: crs84},
		Temporal: wire.TemporalExtent{Interval: [][]time.Time{{e.UpdatedFrom, e.UpdatedTo}}, TRS: gregorian},
	}
}

func collection(base string, p *store.Portfolio) wire.Collection {
	self := base + "/ogc/collections/" + p.ID
	return wire.Collection{
		ID: p.ID, Title: p.Name, Description: p.Description, ItemType: "feature", CRS: []string{crs84},
		Links: []wire.Link{
			{Href: self, Rel: "self", Type: protocol.MediaJSON, Title: p.Name},
			{Href: self + "/items", Rel: "items", Type: protocol.MediaGeoJSON, Title: p.Name},
		},
	}
}

// collectionOf reads the portfolio that the path names.
func (s *Service) collectionOf(c echo.Context) (store.Portfolio, error) {
	p, err := s.Store.Portfolio(c.Request().Context(), store.Local, c.Param("collectionId"))
	if errors.Is(err, store.ErrNotFound) {
		return p, refusal.NotFound.Problem("there is no such collection")
	}
	return p, err
}

func (s *Service) ogcCollection(c echo.Context) error {
	p, err := s.collectionOf(c)
	if err != nil {
		return err
	}
	all, err := s.collections(c, []store.Portfolio{p})
	if err != nil {
		return err
	}
	all[0].Cautions = assess.Cautions()
	setLinks(c, all[0].Links)
	return protocol.Answer(c, all[0])
}

// Lengths of a page of features. A larger limit counts as the largest, as the standard asks.
const defaultFeatures, maxFeatures = 10, 10_000

// ogcItems answers a page of sites in the order of their names, in which a
// site keeps its place when it is assessed again.
func (s *Service) ogcItems(c echo.Context) error {
	f, limit, err := itemsQuery(c)
	if err != nil {
		return err
	}
	p, err := s.collectionOf(c)
	if err != nil {
		return err
	}
	found, next, err := sites.Find(c.Request().Context(), s.Store, p.ID, f, limit)
	if err != nil {
		return err
	}
	base, u := baseURL(c), c.Request().URL
	features := wire.SiteFeatures{
		Type: "FeatureCollection", Time: s.Now().UTC(), Returned: len(found), Cautions: assess.Cautions(),
		Features: make([]wire.SiteFeature, len(found)),
		Links: []wire.Link{
			{Href: base + u.RequestURI(), Rel: "self", Type: protocol.MediaGeoJSON},
			{Href: base + "/ogc/collections/" + p.ID, Rel: "collection", Type: protocol.MediaJSON, Title: p.Name},
		},
	}
	for i := range found {
		features.Features[i] = sites.FeatureOf(&found[i])
	}
	if next != "" {
		features.Links = append(features.Links, wire.Link{Href: base + protocol.NextPage(u, next), Rel: "next", Type: protocol.MediaGeoJSON})
	}
	if features.Matched, err = s.numberMatched(c, p.ID, &f, len(found), next); err != nil {
		return err
	}
	setLinks(c, features.Links)
	return answerFeatures(c, features)
}

// numberMatched counts what all pages hold: on the first one, since a client asks for the others one after the other. nil elsewhere.
func (s *Service) numberMatched(c echo.Context, portfolio string, f *store.SiteFilter, returned int, next string) (*int, error) {
	switch {
	case f.Cursor != "":
		return nil, nil
	case next == "":
		return &returned, nil
	}
	n, err := s.Store.CountSites(c.Request().Context(), store.Local, portfolio, *f)
	matched := max(int(n), returned) // sites may go in between
	return &matched, err
}

func (s *Service) ogcItem(c echo.Context) error {
	p, err := s.collectionOf(c)
	if err != nil {
		return err
	}
	site, err := s.Store.Site(c.Request().Context(), store.Local, p.ID, c.Param("featureId"))
	if errors.Is(err, store.ErrNotFound) {
		return refusal.NotFound.Problem("there is no such feature in this collection")
	}
	if err != nil {
		return err
	}
	base := baseURL(c)
	f := sites.FeatureOf(&site)
	f.Cautions = assess.Cautions()
	f.Links = []wire.Link{
		{Href: base + "/ogc/collections/" + p.ID + "/items/" + f.ID, Rel: "self", Type: protocol.MediaGeoJSON, Title: site.Name},
		{Href: base + "/ogc/collections/" + p.ID, Rel: "collection", Type: protocol.MediaJSON, Title: p.Name},
		{Href: base + "/v1/assessments/" + f.ID, Rel: "related", Type: protocol.MediaJSON, Title: "The assessment with all its numbers"},
	}
	setLinks(c, f.Links)
	return answerFeatures(c, f)
}

func answerFeatures(c echo.Context, v any) error {
	b, err := protocol.Encode(v)
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, protocol.MediaGeoJSON, b)
}

// itemsQuery reads the parameters of a page of features, all faults at once.
func itemsQuery(c echo.Context) (store.SiteFilter, int, error) {
	params := c.QueryParams()
	f, limit := store.SiteFilter{Rank: store.RankName, Cursor: params.Get("cursor")}, defaultFeatures
	var faults []refusal.Fault
	read := func(name string, parse func(text string) (reason string)) {
		if !params.Has(name) {
			return
		}
		if reason := parse(params.Get(name)); reason != "" {
			faults = append(faults, refusal.Fault{Parameter: name, Reason: reason})
		}
	}
	read("limit", func(text string) (reason string) {
		limit, reason = parseLimit(text)
		return reason
	})
	read("bbox", func(text string) (reason string) {
		f.BBox, reason = protocol.ParseBBox(withoutHeights(text))
		return reason
	})
	read("datetime", func(text string) (reason string) {
		f.UpdatedFrom, f.UpdatedTo, reason = parseInterval(text)
		return reason
	})
	read("acceptable", func(text string) string {
		if text != "true" && text != "false" {
			return "must be true or false; found " + strconv.Quote(text)
		}
		yes := text == "true"
		f.Acceptable = &yes
		return ""
	})
	exactly := func(into **string) func(string) string {
		return func(text string) string {
			*into = &text
			if !protocol.Searchable(text) {
				return protocol.MustBeText
			}
			return ""
		}
	}
	read("name", exactly(&f.Name))
	read("reference", exactly(&f.Reference))
	read("cursor", func(text string) string {
		if text == "" {
			return "is empty; leave it out for the first page"
		}
		return ""
	})
	if len(faults) > 0 {
		return f, 0, refusal.BadParameter.Problem("", faults...)
	}
	return f, limit, nil
}

// parseLimit reads the length of a page.
func parseLimit(text string) (int, string) {
	n, err := strconv.Atoi(text)
	if errors.Is(err, strconv.ErrRange) && n > 0 {
		err = nil
	}
	if err != nil || n < 1 {
		return 0, "must be a whole number, at least 1; above " + strconv.Itoa(maxFeatures) + " it counts as that; found " + strconv.Quote(text)
	}
	return min(n, maxFeatures), ""
}

// withoutHeights makes a box of four numbers of one of six: sites have no height.
func withoutHeights(box string) string {
	n := strings.Split(box, ",")
	if len(n) != 6 {
		return box
	}
	low, lowOK := protocol.PlainNumber(strings.TrimSpace(n[2]))
	high, highOK := protocol.PlainNumber(strings.TrimSpace(n[5]))
	if !lowOK || !highOK || low > high {
		return box
	}
	return strings.Join([]string{n[0], n[1], n[3], n[4]}, ",")
}

// parseInterval reads an instant or an interval, whose ends may be open. Both ends belong to it; nil is an open one.
func parseInterval(text string) (from, to *time.Time, reason string) {
	reason = `must be a date-time (RFC 3339) such as 2031-05-17T09:30:00Z, or two of them with / between, ` +
		`where .. or nothing is an open end; found ` + strconv.Quote(text)
	first, last, interval := strings.Cut(text, "/")
	if !interval {
		t, err := parseInstant(text)
		if err != nil {
			return nil, nil, reason
		}
		return &t, &t, ""
	}
	for _, end := range []struct {
		text string
		into **time.Time
	}{{first, &from}, {last, &to}} {
		if end.text == "" || end.text == ".." {
			continue
		}
		t, err := parseInstant(end.text)
		if err != nil {
			return nil, nil, reason
		}
		*end.into = &t
	}
	if from != nil && to != nil && from.After(*to) {
		return nil, nil, "the interval ends before it begins; found " + strconv.Quote(text)
	}
	return from, to, ""
}

// parseInstant reads a date-time; RFC 3339 lets t and z stand for T and Z.
func parseInstant(text string) (time.Time, error) {
	return time.Parse(time.RFC3339Nano, strings.ToUpper(text))
}
