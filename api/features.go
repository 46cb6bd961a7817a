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

// findSites returns at most limit sites, and the cursor behind the last one; empty behind the last of all.
func (s *Server) findSites(ctx context.Context, portfolio string, f store.SiteFilter, limit int) (found []store.Site, next string, err error) {
	for {
		f.Limit = min(store.MaxLimit, limit-len(found))
		page, err := s.store.ListSites(ctx, store.Local, portfolio, f)
		if err != nil {
			return nil, "", err
		}
		found = append(found, page.Sites...)
		if f.Cursor = page.Next; f.Cursor == "" || len(found) == limit {
			return found, f.Cursor, nil
		}
	}
}
