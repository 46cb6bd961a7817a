package portfolios

import (
	"io"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/protocol"
	"levinward/api/sites"
	"levinward/store"
)

// steadyTime is how long a client may take nothing of an export before it is cut off.
const steadyTime = time.Minute

// steadyWriter lets an answer take as long as it needs while the client reads on.
type steadyWriter struct {
	io.Writer
	control *http.ResponseController
}

func (w steadyWriter) Write(p []byte) (int, error) {
	_ = w.control.SetWriteDeadline(time.Now().Add(steadyTime)) // not every writer has one
	return w.Writer.Write(p)
}

// export answers the sites of a portfolio as a file, page by page.
func (s *Service) export(name, mediaType string, open func(io.Writer) (sites.Writer, error)) echo.HandlerFunc {
	return func(c echo.Context) error {
		filter, err := s.exportFilter(c)
		if err != nil {
			return err
		}
		ctx, id := c.Request().Context(), c.Param("id")
		if _, err := s.Store.Portfolio(ctx, store.Local, id); err != nil {
			return protocol.NoSuch("portfolio", err)
		}
		page, err := s.Store.ListSites(ctx, store.Local, id, filter)
		if err != nil {
			return err
		}
		h := c.Response().Header()
		h.Set(echo.HeaderContentType, mediaType)
		h.Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
		w, err := open(steadyWriter{c.Response(), http.NewResponseController(c.Response())})
		if err != nil {
			return s.broken(c, err)
		}
		defer w.Discard()
		for {
			for i := range page.Sites {
				if err := w.Write(&page.Sites[i]); err != nil {
					return s.broken(c, err)
				}
			}
			if err := w.Flush(); err != nil {
				return s.broken(c, err)
			}
			if filter.Cursor = page.Next; filter.Cursor == "" {
				break
			}
			if page, err = s.Store.ListSites(ctx, store.Local, id, filter); err != nil {
				return s.broken(c, err)
			}
		}
		if err := w.Close(); err != nil {
			return s.broken(c, err)
		}
		return nil
	}
}

// broken ends a file that cannot be completed: as a problem where nothing was sent
// yet, otherwise by breaking the connection, so that no client takes a part for the whole.
func (s *Service) broken(c echo.Context, err error) error {
	if !c.Response().Committed {
		for _, name := range []string{echo.HeaderContentType, echo.HeaderContentDisposition} {
			c.Response().Header().Del(name)
		}
		return err
	}
	s.Log.Warn("export broken off", "error", err, "path", c.Request().URL.Path, "request_id", c.Response().Header().Get(echo.HeaderXRequestID))
	panic(http.ErrAbortHandler)
}

// exportFilter reads the conditions of a list of sites. Without another rank
// sites come by name, in which they keep their places when they are assessed again meanwhile.
func (s *Service) exportFilter(c echo.Context) (store.SiteFilter, error) {
	f, err := s.siteFilter(c)
	f.Limit = store.MaxLimit
	if f.Rank == "" {
		f.Rank = store.RankName
	}
	return f, err
}
