package api

import (
	"context"
	"time"

	"levinward/api/wire"
	"levinward/store"
)

// siteProperties tells of a site what every export of it has.
func siteProperties(s *store.Site) wire.SiteProperties {
	p := wire.SiteProperties{
		Reference: s.Reference, Name: s.Name, Revision: s.Revision, GroundFlashes: s.GroundFlashes, DensityOrigin: s.DensityOrigin,
		LossOfHumanLife: s.LossOfHumanLife, WorstRatio: s.WorstRatio, Excess: s.Excess, PersonsAtRisk: s.PersonsAtRisk, Acceptable: s.Acceptable,
		NeededProtection: s.NeededProtection, RequiredDevices: s.RequiredDevices, Engine: s.Engine, CreatedAt: s.CreatedAt.UTC(), UpdatedAt: s.UpdatedAt.UTC(),
	}
	if s.DensityMap != "" {
		p.DensityMap = &s.DensityMap
	}
	if !s.ReviewDue.IsZero() {
		due := s.ReviewDue.Format(time.DateOnly)
		p.ReviewDue = &due
	}
	return p
}

func siteFeature(s *store.Site) wire.SiteFeature {
	return wire.SiteFeature{
		Type: "Feature", ID: s.Assessment,
		Geometry:   wire.Point{Type: "Point", Coordinates: []float64{s.Longitude, s.Latitude}},
		Properties: siteProperties(s),
	}
}

// siteQuery chooses sites by the store and by what the store does not ask for.
type siteQuery struct {
	store.SiteFilter
	reference, name *string
	from, to        *time.Time // of the newest revision, both included
}

// matches tells whether every condition that is not the store's holds.
func (q *siteQuery) matches(s *store.Site) bool {
	switch {
	case q.reference != nil && s.Reference != *q.reference, q.name != nil && s.Name != *q.name:
		return false
	case q.from != nil && s.UpdatedAt.Before(*q.from), q.to != nil && s.UpdatedAt.After(*q.to):
		return false
	}
	return true
}

// plain tells that the store alone chooses.
func (q *siteQuery) plain() bool {
	return q.reference == nil && q.name == nil && q.from == nil && q.to == nil
}

// maxLooked is how many sites are looked at for a page once something was found for it.
const maxLooked = 50_000

// findSites returns at most limit sites, and the cursor behind the last one that
// was looked at; empty behind the last of all. A page with a cursor is never empty.
func (s *Server) findSites(ctx context.Context, portfolio string, q siteQuery, limit int) (found []store.Site, next string, err error) {
	looked := 0
	for {
		q.Limit = store.MaxLimit
		if q.plain() {
			q.Limit = min(q.Limit, limit-len(found))
		}
		page, err := s.store.ListSites(ctx, store.Local, portfolio, q.SiteFilter)
		if err != nil {
			return nil, "", err
		}
		for i := range page.Sites {
			if !q.matches(&page.Sites[i]) {
				continue
			}
			if found = append(found, page.Sites[i]); len(found) < limit {
				continue
			}
			if i+1 < len(page.Sites) {
				return found, store.NextSitePage(page.Sites[:i+2], q.Rank, i+1).Next, nil
			}
			return found, page.Next, nil
		}
		looked += len(page.Sites)
		if q.Cursor = page.Next; q.Cursor == "" || looked >= maxLooked && len(found) > 0 {
			return found, q.Cursor, nil
		}
	}
}
