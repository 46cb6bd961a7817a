package devices

import (
	"bytes"
	"errors"
	"hash/maphash"
	"io"
	"mime"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/store"
)

// Limits of an upload of devices.
const (
	maxDeviceList  = 16 << 20 // bytes of JSON
	maxDevices     = 10_000   // in a JSON list
	maxDeviceTable = 256 << 20
	maxListed      = 1000 // faults that are spelled out
	uploadTime     = 10 * time.Minute
)

// importReport is the answer to an upload of several devices.
type importReport struct {
	Stored   int             `json:"stored"`
	Replaced int             `json:"replaced"`
	Refused  int             `json:"refused"`
	Faults   int             `json:"faults"`
	Errors   []refusal.Fault `json:"errors"`
}

// upload is an upload of devices under way.
type upload struct {
	service *Service
	spool   *spool
	list    bool // JSON: places are pointers into the list, not lines
	single  bool // JSON: one device and no list
	rows    int
	refused int // rows with a fault
	faults  int // all of them
	listed  []refusal.Fault
	seen    map[[2]uint64]uint32 // line of each reference, by its hash
	seeds   [2]maphash.Seed
	fatal   bool // part of the upload could not be read
}

// uploadDevices takes devices into the library: all of them or none, unless asked for the good ones alone.
func (s *Service) uploadDevices(c echo.Context) error {
	q := protocol.Parameters{Context: c}
	how := store.Import{Replace: q.Truth("replace"), Partial: q.Truth("partial")}
	if err := q.Problem(); err != nil {
		return err
	}
	sp, err := newSpool()
	if err != nil {
		return err
	}
	defer sp.close()
	u := &upload{service: s, spool: sp, seen: map[[2]uint64]uint32{}, seeds: [2]maphash.Seed{maphash.MakeSeed(), maphash.MakeSeed()}}
	switch media := protocol.MediaTypeOf(c.Request().Header.Get(echo.HeaderContentType)); media {
	case protocol.MediaJSON:
		err = u.readJSON(c)
	case protocol.MediaCSV:
		err = u.readCSV(c)
	default:
		err = refusal.WrongMediaType.Problem("send " + protocol.MediaJSON + " or " + protocol.MediaCSV + "; found " + strconv.Quote(media))
	}
	if err != nil {
		return err
	}
	return u.store(c, how)
}

// store puts what was read into the library and answers.
func (u *upload) store(c echo.Context, how store.Import) error {
	how.Taken = func(n int, d store.Device) {
		u.refused++
		u.faultAt(int(u.spool.lines[n]), "reference", d.Reference, referenceTaken+"; upload with replace=true to put this one in its place")
	}
	// Where nothing will be stored, the store is asked only which references are taken.
	how.Probe = u.fatal || u.faults > 0 && !how.Partial
	ctx := c.Request().Context()
	var first store.Device
	devices := func(yield func(store.Device, error) bool) {
		for d, err := range u.spool.devices(u.service.Now()) {
			if first.ID == "" {
				first = d
			}
			if !yield(d, err) {
				return
			}
		}
	}
	done, err := u.service.Store.ImportDevices(ctx, store.Local, devices, how)
	if err != nil && !errors.Is(err, store.ErrReferenceTaken) {
		return err
	}
	if how.Probe || err != nil || done.Stored+done.Replaced == 0 && u.faults > 0 {
		return u.problem()
	}
	if u.single && done.Stored == 1 {
		stored, err := u.service.Store.Device(ctx, store.Local, first.ID)
		if err != nil {
			return err
		}
		c.Response().Header().Set("Location", "/v1/devices/"+stored.ID)
		return answerDevice(c, http.StatusCreated, &stored)
	}
	u.sort()
	b, err := protocol.Encode(importReport{
		Stored: done.Stored, Replaced: done.Replaced, Refused: u.refused, Faults: u.faults, Errors: u.listed,
	})
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, protocol.MediaJSON, b)
}

// sort brings the faults into the order of the upload; those of the store came last.
func (u *upload) sort() {
	if u.listed == nil {
		u.listed = []refusal.Fault{}
	}
	slices.SortStableFunc(u.listed, func(a, b refusal.Fault) int { return a.Order - b.Order })
}

func (u *upload) problem() *refusal.Problem {
	u.sort()
	text := strconv.Itoa(u.faults) + " faults"
	if u.faults == 1 {
		text = "1 fault"
	}
	if u.faults > len(u.listed) {
		text += ", of which " + strconv.Itoa(len(u.listed)) + " are listed"
	}
	return refusal.InvalidInput.Problem(text+"; nothing was stored", u.listed...)
}

// fault notes a fault; beyond the first ones it only counts.
func (u *upload) fault(f refusal.Fault) {
	if u.faults++; len(u.listed) < maxListed {
		u.listed = append(u.listed, f)
	}
}

// faultAt notes a fault of one field of the device at a line or place.
func (u *upload) faultAt(line int, field, value, reason string) {
	switch {
	case u.single:
		u.fault(refusal.FaultAt("/"+field, reason+wire.Found(value)))
	case u.list:
		f := refusal.FaultAt("/"+strconv.Itoa(line)+"/"+field, reason+wire.Found(value))
		f.Order = line
		u.fault(f)
	default:
		u.fault(refusal.Fault{Line: line, Column: field, Value: value, Reason: reason, Order: line})
	}
}

// add takes a device that has no fault of its own.
func (u *upload) add(line int, doc *wire.Device) error {
	key := [2]uint64{maphash.String(u.seeds[0], doc.Reference), maphash.String(u.seeds[1], doc.Reference)}
	if before, twice := u.seen[key]; twice {
		u.refused++
		where := "line " + strconv.Itoa(int(before))
		if u.list {
			where = "entry " + strconv.Itoa(int(before))
		}
		u.faultAt(line, "reference", doc.Reference, "the reference stands in this upload before, at "+where)
		return nil
	}
	u.seen[key] = uint32(line)
	d, err := u.service.deviceRecord("", doc)
	if err != nil {
		return err
	}
	return u.spool.add(line, &d)
}

// readJSON takes one device, or a list of devices.
func (u *upload) readJSON(c echo.Context) error {
	b, err := protocol.BodyUpTo(c, protocol.MediaJSON, maxDeviceList)
	if err != nil {
		return err
	}
	if text := bytes.TrimLeft(b, " \t\r\n"); len(text) == 0 || text[0] != '[' {
		u.single = true
		doc, problem := contract.Device(b)
		if problem != nil {
			return problem
		}
		return u.add(0, doc)
	}
	u.list = true
	entries, problem := contract.ListEntries(b, maxDevices, "send more of them as "+protocol.MediaCSV)
	if problem != nil {
		return problem
	}
	for i, entry := range entries {
		doc, problem := contract.Device(entry)
		if problem == nil {
			if err := u.add(i, doc); err != nil {
				return err
			}
			continue
		}
		u.refused++
		for _, f := range problem.Errors {
			f = refusal.FaultAt("/"+strconv.Itoa(i)+*f.Pointer, f.Reason)
			f.Order = i
			u.fault(f)
		}
	}
	return nil
}

// readCSV takes a table row by row.
func (u *upload) readCSV(c echo.Context) error {
	r := c.Request()
	if err := acceptTable(r); err != nil {
		return err
	}
	// A long table over a slow line takes longer than other requests may; a
	// connection without deadlines is none that has to be prolonged.
	end := time.Now().Add(uploadTime)
	control := http.NewResponseController(c.Response())
	_, _ = control.SetReadDeadline(end), control.SetWriteDeadline(end)
	table, faults, err := wire.NewDeviceReader(http.MaxBytesReader(c.Response(), r.Body, maxDeviceTable))
	if err != nil {
		return tableError(err)
	}
	u.rowFaults(faults)
	if len(faults) > 0 {
		u.fatal = true
		return nil
	}
	for {
		d, line, faults, fatal, err := table.Next()
		switch {
		case err == io.EOF && u.rows == 0:
			fatal = &wire.RowFault{Line: 2, Reason: "the table has no rows below its header"}
		case err == io.EOF:
			return nil
		case err != nil:
			return tableError(err)
		case fatal == nil && u.rows == wire.MaxDeviceRows:
			fatal = &wire.RowFault{Line: line, Reason: "the table has more than " + strconv.Itoa(wire.MaxDeviceRows) + " rows; divide it"}
		}
		if fatal != nil {
			u.fatal = true
			u.rowFaults([]wire.RowFault{*fatal})
			return nil
		}
		u.rows++
		if len(faults) > 0 {
			u.refused++
			u.rowFaults(faults)
			continue
		}
		if err := u.add(line, d); err != nil {
			return err
		}
	}
}

func (u *upload) rowFaults(faults []wire.RowFault) {
	for _, f := range faults {
		u.fault(refusal.Fault{Line: f.Line, Column: f.Column, Value: f.Value, Reason: f.Reason, Order: f.Line})
	}
}

// acceptTable refuses encodings of a table that are not read.
func acceptTable(r *http.Request) error {
	if r.Header.Get(echo.HeaderContentEncoding) != "" {
		return refusal.WrongMediaType.Problem("send the body without a content encoding")
	}
	_, params, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	if charset := params["charset"]; err == nil && charset != "" && !strings.EqualFold(charset, "utf-8") &&
		!strings.EqualFold(charset, "us-ascii") {
		return refusal.WrongMediaType.Problem("send the table in UTF-8; found charset " + strconv.Quote(charset))
	}
	if r.ContentLength > maxDeviceTable {
		return tableTooLarge()
	}
	return nil
}

func tableTooLarge() *refusal.Problem {
	return refusal.TooLarge.Problem("a table has at most " + strconv.Itoa(maxDeviceTable>>20) + " MiB; nothing was stored")
}

func tableError(err error) error {
	if protocol.IsTooLarge(err) {
		return tableTooLarge()
	}
	return refusal.BrokenBody.Problem("nothing was stored")
}
