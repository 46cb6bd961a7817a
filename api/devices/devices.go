package devices

import (
	"encoding/json"
	"errors"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/store"
)

// deviceTag names a version of a device.
func deviceTag(version int) string { return `"version-` + strconv.Itoa(version) + `"` }

// deviceOf writes a stored device. Its document is one that was checked when it came in.
func deviceOf(d *store.Device) (*wire.StoredDevice, error) {
	w := &wire.StoredDevice{ID: d.ID, Version: d.Version, UpdatedAt: d.UpdatedAt}
	if !d.WithdrawnAt.IsZero() {
		w.WithdrawnAt = &d.WithdrawnAt
	}
	return w, json.Unmarshal(d.Document, &w.Device)
}

func answerDevice(c echo.Context, status int, d *store.Device) error {
	w, err := deviceOf(d)
	if err != nil {
		return err
	}
	b, err := protocol.Encode(w)
	if err != nil {
		return err
	}
	c.Response().Header().Set("ETag", deviceTag(d.Version))
	return c.Blob(status, protocol.MediaJSON, b)
}

// deviceRecord makes a stored device of a document.
func (s *Service) deviceRecord(id string, d *wire.Device) (store.Device, error) {
	doc, err := protocol.Encode(d)
	return store.Device{ID: id, Reference: d.Reference, Name: d.Name, Document: doc, UpdatedAt: s.Now()}, err
}

func (s *Service) listDevices(c echo.Context) error {
	f, err := deviceFilter(c)
	if err != nil {
		return err
	}
	page, err := s.Store.ListDevices(c.Request().Context(), store.Local, f)
	if err != nil {
		return err
	}
	devices := make([]*wire.StoredDevice, len(page.Devices))
	for i := range page.Devices {
		if devices[i], err = deviceOf(&page.Devices[i]); err != nil {
			return err
		}
	}
	if page.Next != "" {
		c.Response().Header().Set("Link", "<"+protocol.NextPage(c.Request().URL, page.Next)+`>; rel="next"`)
	}
	return protocol.Answer(c, map[string]any{"devices": devices})
}

// deviceFilter reads the parameters of a list, all faults at once.
func deviceFilter(c echo.Context) (store.DeviceFilter, error) {
	f := store.DeviceFilter{Cursor: c.QueryParam("cursor"), Query: c.QueryParam("q")}
	q := protocol.Parameters{Context: c}
	f.Limit = q.Whole("limit", store.DefaultLimit, 1, store.MaxLimit)
	f.Withdrawn = q.Truth("withdrawn")
	if !protocol.Searchable(f.Query) {
		q.Fault("q", protocol.MustBeText)
	}
	if q.QueryParams().Has("cursor") && f.Cursor == "" {
		q.Fault("cursor", "is empty; leave it out for the first page")
	}
	return f, q.Problem()
}

// findDevice reads the device that the path names.
func (s *Service) findDevice(c echo.Context) (store.Device, error) {
	d, err := s.Store.Device(c.Request().Context(), store.Local, c.Param("id"))
	if errors.Is(err, store.ErrNotFound) {
		return d, refusal.NotFound.Problem("no such device")
	}
	return d, err
}

func (s *Service) device(c echo.Context) error {
	d, err := s.findDevice(c)
	if err != nil {
		return err
	}
	if m := c.Request().Header.Get("If-None-Match"); m != "" && protocol.MatchesTag(m, deviceTag(d.Version)) {
		c.Response().Header().Set("ETag", deviceTag(d.Version))
		return c.NoContent(http.StatusNotModified)
	}
	return answerDevice(c, http.StatusOK, &d)
}

// replaceDevice puts the next version of a device in place of the newest.
func (s *Service) replaceDevice(c echo.Context) error {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return err
	}
	now, err := s.findDevice(c)
	if err != nil {
		return err
	}
	if err := expectVersion(c, &now); err != nil {
		return err
	}
	doc, problem := contract.Device(b)
	if problem != nil {
		return problem
	}
	d, err := s.deviceRecord(now.ID, doc)
	if err != nil {
		return err
	}
	d, err = s.Store.ReplaceDevice(c.Request().Context(), store.Local, d, now.Version)
	if errors.Is(err, store.ErrReferenceTaken) {
		return refusal.Invalid([]refusal.Fault{refusal.FaultAt("/reference", referenceTaken+"; found "+strconv.Quote(doc.Reference))})
	}
	if err != nil {
		return deviceProblem(c, err)
	}
	return answerDevice(c, http.StatusOK, &d)
}

const referenceTaken = "another device in use has this reference"

// withdrawDevice takes a device out of use. One that is withdrawn already stays as it is.
func (s *Service) withdrawDevice(c echo.Context) error {
	now, err := s.findDevice(c)
	if err != nil {
		return err
	}
	if err := expectVersion(c, &now); err != nil {
		return err
	}
	err = s.Store.WithdrawDevice(c.Request().Context(), store.Local, now.ID, now.Version, s.Now())
	if err != nil && !errors.Is(err, store.ErrWithdrawn) {
		return deviceProblem(c, err)
	}
	return c.NoContent(http.StatusNoContent)
}

// expectVersion honours If-Match.
func expectVersion(c echo.Context, now *store.Device) error {
	if m := c.Request().Header.Get("If-Match"); m != "" && !protocol.MatchesTag(m, deviceTag(now.Version)) {
		return outdated(refusal.PreconditionFailed, now.Version)
	}
	return nil
}

func outdated(k refusal.Kind, newest int) *refusal.Problem {
	p := k.Problem("the newest version is " + strconv.Itoa(newest))
	p.ETag = deviceTag(newest)
	return p
}

// deviceProblem tells of a change that came in between.
func deviceProblem(c echo.Context, err error) error {
	var old *store.ConflictError
	switch {
	case errors.As(err, &old) && c.Request().Header.Get("If-Match") != "":
		return outdated(refusal.PreconditionFailed, old.Current)
	case errors.As(err, &old):
		return outdated(refusal.Conflict, old.Current)
	case errors.Is(err, store.ErrWithdrawn):
		return refusal.Conflict.Problem("the device was withdrawn; upload it again to use it")
	case errors.Is(err, store.ErrNotFound):
		return refusal.NotFound.Problem("no such device")
	}
	return err
}

// deviceColumns answers the table to be filled in.
func (s *Service) deviceColumns(c echo.Context) error {
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="devices.csv"`)
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8; header=present", wire.DeviceTemplate())
}
