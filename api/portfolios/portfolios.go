package portfolios

import (
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/batch"
	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/store"
)

// controls finds control characters in texts of a body.
func controls(texts map[string]string) (faults []risk.Violation) {
	for _, pointer := range protocol.SortedKeys(texts) {
		if strings.ContainsFunc(texts[pointer], func(r rune) bool { return r < ' ' || r == 0x7f }) {
			faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: pointer, Reason: "must not hold control characters"})
		}
	}
	return faults
}

// createPortfolio stores an empty portfolio.
func (s *Service) createPortfolio(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	in, problem := contract.DecodeBody(wire.PortfolioInputs, b, func(in *wire.PortfolioInput) []risk.Violation {
		return controls(map[string]string{"/name": in.Name, "/description": in.Description})
	})
	if problem != nil {
		return problem
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	p, err := s.Store.CreatePortfolio(c.Request().Context(), store.Local,
		store.Portfolio{ID: id.String(), CreatedAt: s.Now(), Name: in.Name, Description: in.Description})
	if err != nil {
		return protocol.NoSuch("organisation", err)
	}
	c.Response().Header().Set("Location", "/v1/portfolios/"+p.ID)
	return protocol.AnswerDocument(c, http.StatusCreated, portfolioOf(&p))
}

func portfolioOf(p *store.Portfolio) wire.Portfolio {
	return wire.Portfolio{ID: p.ID, Name: p.Name, Description: p.Description, CreatedAt: p.CreatedAt}
}

// listPortfolios answers a page, the newest first.
func (s *Service) listPortfolios(c echo.Context) error {
	limit, cursor, err := protocol.PageOf(c)
	if err != nil {
		return err
	}
	page, err := s.Store.ListPortfolios(c.Request().Context(), store.Local, limit, cursor)
	if err != nil {
		return err
	}
	list := wire.PortfolioList{Portfolios: make([]wire.Portfolio, len(page.Portfolios))}
	for i := range page.Portfolios {
		list.Portfolios[i] = portfolioOf(&page.Portfolios[i])
	}
	protocol.SetNextLink(c, page.Next)
	return protocol.Answer(c, list)
}

// portfolio answers one with its totals.
func (s *Service) portfolio(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	p, err := s.Store.Portfolio(ctx, store.Local, id)
	if err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	totals, err := s.Store.PortfolioTotals(ctx, store.Local, id, s.Now())
	if err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	doc := portfolioOf(&p)
	doc.Cautions = assess.Cautions()
	doc.Totals = &wire.PortfolioTotals{Sites: totals.Sites, NotAcceptable: totals.NotAcceptable, PersonsAtRisk: totals.PersonsAtRisk,
		ReviewDue: totals.ReviewDue}
	return protocol.Answer(c, doc)
}

// patchPortfolio changes name and description.
func (s *Service) patchPortfolio(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaPatch)
	if err != nil {
		return err
	}
	patch, problem := contract.DecodeBody(wire.PortfolioPatches, b, func(p *wire.PortfolioPatch) []risk.Violation {
		texts := map[string]string{}
		if p.Name != nil {
			texts["/name"] = *p.Name
		}
		if p.Description != nil {
			texts["/description"] = *p.Description
		}
		return controls(texts)
	})
	if problem != nil {
		return problem
	}
	ctx, id := c.Request().Context(), c.Param("id")
	p, err := s.Store.Portfolio(ctx, store.Local, id)
	if err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	if patch.Name != nil {
		p.Name = *patch.Name
	}
	if patch.Description != nil {
		p.Description = *patch.Description
	}
	if p, err = s.Store.RenamePortfolio(ctx, store.Local, id, p.Name, p.Description); err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	return protocol.Answer(c, portfolioOf(&p))
}

// deletionTime is more than a portfolio of a million sites takes.
const deletionTime = 30 * time.Minute

// deletePortfolio removes one with its sites.
func (s *Service) deletePortfolio(c echo.Context) error {
	_ = http.NewResponseController(c.Response()).SetWriteDeadline(time.Now().Add(deletionTime)) // not every writer has one
	if err := store.DeletePortfolio(c.Request().Context(), s.Store, store.Local, c.Param("id")); err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	return c.NoContent(http.StatusNoContent)
}

// ranks are those a list can have.
var ranks = []string{string(store.RankWorstRatio), string(store.RankExcess), string(store.RankPersonsAtRisk), string(store.RankName)}

// listSites answers a page of ranked sites.
func (s *Service) listSites(c echo.Context) error {
	f, err := s.siteFilter(c)
	if err != nil {
		return err
	}
	ctx, id := c.Request().Context(), c.Param("id")
	if _, err := s.Store.Portfolio(ctx, store.Local, id); err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	page, err := s.Store.ListSites(ctx, store.Local, id, f)
	if err != nil {
		return err
	}
	list := wire.SiteList{Sites: make([]wire.ListedSite, len(page.Sites)), Cautions: assess.Cautions()}
	for i := range page.Sites {
		list.Sites[i] = listedSite(&page.Sites[i])
	}
	protocol.SetNextLink(c, page.Next)
	return protocol.Answer(c, list)
}

// siteFilter reads the parameters of a list of sites, all faults at once.
func (s *Service) siteFilter(c echo.Context) (store.SiteFilter, error) {
	var faults []refusal.Fault
	base, err := protocol.Filter(c, s.Now())
	var wrong *refusal.Problem
	if errors.As(err, &wrong) {
		faults = wrong.Errors
	} else if err != nil {
		return store.SiteFilter{}, err
	}
	f := store.SiteFilter{Limit: base.Limit, Cursor: base.Cursor, BBox: base.BBox, Query: base.Query, DueOn: base.DueOn, Due: base.Due}
	q := c.QueryParams()
	if q.Has("rank") {
		f.Rank = store.Rank(q.Get("rank"))
		if !slices.Contains(ranks, q.Get("rank")) {
			faults = append(faults, refusal.Fault{Parameter: "rank",
				Reason: "must be one of " + strings.Join(ranks, ", ") + "; found " + strconv.Quote(q.Get("rank"))})
		}
	}
	if q.Has("acceptable") {
		text := q.Get("acceptable")
		acceptable := text == "true"
		if !acceptable && text != "false" {
			faults = append(faults, refusal.Fault{Parameter: "acceptable", Reason: "must be true or false; found " + strconv.Quote(text)})
		}
		f.Acceptable = &acceptable
	}
	if len(faults) > 0 {
		return f, refusal.BadParameter.Problem("", faults...)
	}
	return f, nil
}

func listedSite(s *store.Site) wire.ListedSite {
	return wire.ListedSite{Assessment: s.Assessment, Reference: s.Reference, Name: s.Name,
		Location:  wire.Location{Latitude: &s.Latitude, Longitude: &s.Longitude},
		CreatedAt: s.CreatedAt, UpdatedAt: s.UpdatedAt, SiteState: stateOf(s)}
}

func stateOf(s *store.Site) wire.SiteState {
	return wire.SiteState{Revision: s.Revision, GroundFlashes: s.GroundFlashes, DensityOrigin: s.DensityOrigin, DensityMap: s.DensityMap,
		WorstRatio: s.WorstRatio, LossOfHumanLife: s.LossOfHumanLife, Excess: s.Excess, PersonsAtRisk: s.PersonsAtRisk, Acceptable: s.Acceptable,
		NeededProtection: s.NeededProtection, RequiredDevices: s.RequiredDevices, ReviewDue: s.ReviewDue.Format(time.DateOnly), Engine: s.Engine}
}

// portfolioChanges answers the sites that a work changed, before and after; without one, the last that changed any.
func (s *Service) portfolioChanges(c echo.Context) error {
	limit, cursor, err := protocol.PageOf(c)
	if err != nil {
		return err
	}
	ctx, id, work := c.Request().Context(), c.Param("id"), c.QueryParam("work")
	if _, err := s.Store.Portfolio(ctx, store.Local, id); err != nil {
		return protocol.NoSuch("portfolio", err)
	}
	if work == "" {
		last, err := s.Store.LastChange(ctx, store.Local, id)
		if err != nil {
			return protocol.NoSuch("work: no import or re-assessment of this portfolio has ended", err)
		}
		work = last.ID
	} else if w, err := s.Store.Work(ctx, store.Local, work); err != nil || w.Portfolio != strings.ToLower(id) {
		if err == nil {
			err = store.ErrNotFound
		}
		return protocol.NoSuch("work on this portfolio", err)
	}
	page, err := s.Store.ChangedSites(ctx, store.Local, id, store.Changes{Work: work, Limit: limit, Cursor: cursor})
	if err != nil {
		return err
	}
	doc := wire.SiteChanges{Work: work, Sites: make([]wire.SiteChange, len(page.Sites)), Cautions: assess.Cautions()}
	for i := range page.Sites {
		site := &page.Sites[i]
		doc.Sites[i] = wire.SiteChange{Assessment: site.Assessment, Reference: site.Reference, Name: site.Name, Before: stateOf(site.Before),
			After: stateOf(site)}
	}
	protocol.SetNextLink(c, page.Next)
	return protocol.Answer(c, doc)
}

// importColumns answers what each column of an import means.
func importColumns(c echo.Context) error {
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="import-columns.csv"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8; header=present", batch.Dictionary())
}

// template answers a file to start from.
func (s *Service) template(format batch.Format, media string) echo.HandlerFunc {
	return func(c echo.Context) error {
		file, err := batch.Template(format)
		if err != nil {
			return err
		}
		c.Response().Header().Set("Content-Disposition", `attachment; filename="import-template.`+string(format)+`"`)
		return c.Blob(http.StatusOK, media, file)
	}
}
