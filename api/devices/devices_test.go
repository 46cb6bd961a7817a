package devices_test

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"levinward/api"
	"levinward/api/apitest"
	"levinward/api/wire"
)

func references(c *apitest.Client, query string) string {
	var l apitest.DeviceList
	c.Get(apitest.DevicesPath + query).Want(http.StatusOK).JSON(&l)
	var names []string
	for _, d := range l.Devices {
		names = append(names, d.Reference)
	}
	return strings.Join(names, ",")
}

func TestDeviceLife(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		a := c.Post(apitest.DevicesPath, apitest.JSONOf(t, apitest.SupplyDevice("A", "48.50"))).Want(http.StatusCreated)
		at, first := a.Header.Get("Location"), a.Header.Get("ETag")
		got := c.Get(at).Want(http.StatusOK)
		if !bytes.Equal(got.Body, a.Body) || got.Header.Get("ETag") != first || first == "" ||
			!strings.Contains(string(got.Body), `"price":"48.50"`) {
			t.Errorf("stored %s, read %s", a.Body, got.Body)
		}
		second := apitest.PutJSON(c, at, apitest.JSONOf(t, apitest.SupplyDevice("A2", "50")), "If-Match", first).Want(http.StatusOK)
		old := apitest.PutJSON(c, at, apitest.JSONOf(t, apitest.SupplyDevice("A3", "50")), "If-Match", first).Want(http.StatusPreconditionFailed)
		if old.Header.Get("ETag") != second.Header.Get("ETag") {
			t.Errorf("ETag %q, want that of the newest", old.Header.Get("ETag"))
		}
		c.Do(http.MethodDelete, at, nil, "If-Match", first).Want(http.StatusPreconditionFailed)
		apitest.PutJSON(c, at, apitest.JSONOf(t, apitest.SupplyDevice("A2", "51"))).Want(http.StatusOK) // whatever the version
		c.Post(apitest.DevicesPath, []byte(`{"reference": "B"}`)).Want(http.StatusCreated)
		p := apitest.PutJSON(c, at, []byte(`{"reference": "B"}`)).Want(http.StatusUnprocessableEntity).Problem()
		if len(p.Errors) != 1 || *p.Errors[0].Pointer != "/reference" {
			t.Errorf("%+v", p)
		}
		if got := references(c, ""); got != "A2,B" {
			t.Errorf("list %s", got)
		}
		if got := references(c, "?q=invented%20a"); got != "A2" { // the name of A2 follows the document
			t.Errorf("list by name %s", got)
		}
		c.Delete(at).Want(http.StatusNoContent)
		c.Delete(at).Want(http.StatusNoContent)
		apitest.PutJSON(c, at, []byte(`{"reference": "A4"}`)).Want(http.StatusConflict)
		if got := references(c, "") + " " + references(c, "?withdrawn=true"); got != "B A2" {
			t.Errorf("lists %s", got)
		}
		if !strings.Contains(string(c.Get(at).Want(http.StatusOK).Body), "withdrawn_at") {
			t.Error("a withdrawn device does not say so")
		}
		const other = apitest.DevicesPath + "/01963b1c-6c00-7d3a-9c41-5be0c7b8a2f1"
		for _, a := range []*apitest.Answer{c.Get(other), c.Delete(other), apitest.PutJSON(c, other, []byte(`{"reference": "X"}`)),
			c.Get(apitest.DevicesPath + "/no-uuid")} {
			a.Want(http.StatusNotFound)
		}
	})
}

func TestDevicePages(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	var devices []map[string]any
	for i := range 7 {
		devices = append(devices, apitest.SupplyDevice(fmt.Sprint("D", i), nil))
	}
	c.Post(apitest.DevicesPath, apitest.JSONOf(t, devices)).Want(http.StatusOK)
	var seen []string
	for path := apitest.DevicesPath + "?limit=3"; path != ""; {
		var l apitest.DeviceList
		a := c.Get(path).Want(http.StatusOK)
		a.JSON(&l)
		for _, d := range l.Devices {
			seen = append(seen, d.Reference)
		}
		path, _, _ = strings.Cut(strings.TrimPrefix(a.Header.Get("Link"), "<"), ">")
	}
	if got := strings.Join(seen, ""); got != "D0D1D2D3D4D5D6" {
		t.Errorf("pages %s", got)
	}
	for _, query := range []string{"limit=0", "limit=501", "limit=x", "cursor=", "cursor=x", "withdrawn=yes", "withdrawn=1",
		"q=" + strings.Repeat("x", 201), "maker=x"} {
		c.Get(apitest.DevicesPath + "?" + query).Want(http.StatusBadRequest)
	}
}

// report is the answer to an upload of several devices.
type report struct {
	Stored, Replaced, Refused, Faults int
	Errors                            []apitest.Fault
}

func TestTableUpload(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		apitest.PostTable(c, "", "reference\nold\n").Want(http.StatusOK)
		bad := "reference;up_kv\nA;1.5\nB;1,5\nA;1.2\nold;1.2\nC;0.9\n"
		p := apitest.PostTable(c, "", bad).Want(http.StatusUnprocessableEntity).Problem()
		want := []string{"3 up_kv", "4 reference", "5 reference"}
		for i, f := range p.Errors {
			if i >= len(want) || fmt.Sprint(f.Line, " ", f.Column) != want[i] {
				t.Errorf("fault %+v", f)
			}
		}
		if len(p.Errors) != 3 || !strings.Contains(p.Errors[1].Reason, "line 2") || !strings.Contains(p.Errors[2].Reason, "replace=true") ||
			p.Errors[2].Value != "old" || !strings.Contains(p.Detail, "nothing was stored") {
			t.Errorf("%+v", p)
		}
		if got := references(c, ""); got != "old" {
			t.Errorf("after a refusal: %s", got)
		}
		p = apitest.PostTable(c, "", "reference\nX\nold\n").Want(http.StatusUnprocessableEntity).Problem()
		if got := references(c, ""); len(p.Errors) != 1 || got != "old" {
			t.Errorf("after a taken reference: %s, %+v", got, p)
		}

		var r report
		apitest.PostTable(c, "?partial=true", bad).Want(http.StatusOK).JSON(&r)
		if r.Stored != 2 || r.Refused != 3 || r.Faults != 3 || len(r.Errors) != 3 || r.Errors[0].Line != 3 || r.Errors[2].Line != 5 {
			t.Errorf("%+v", r)
		}
		if got := references(c, ""); got != "old,A,C" {
			t.Errorf("after the good rows: %s", got)
		}
		apitest.PostTable(c, "?replace=true", "reference,name\nold,new name\nD,x\n").Want(http.StatusOK).JSON(&r)
		if r.Stored != 1 || r.Replaced != 1 || r.Faults != 0 {
			t.Errorf("%+v", r)
		}
		if got := references(c, "?q=new"); got != "old" {
			t.Errorf("after replacing: %s", got)
		}
		// Where it is not known where rows end, even the good ones are not stored.
		apitest.PostTable(c, "?partial=true", "reference,name\nE,x\nF,\"open\n").Want(http.StatusUnprocessableEntity)
		apitest.PostTable(c, "?partial=true", "reference,maker\nE,x\n").Want(http.StatusUnprocessableEntity)
		apitest.PostTable(c, "?partial=true", "reference\n").Want(http.StatusUnprocessableEntity)
		apitest.PostTable(c, "?partial=true", "reference,up_kv\nE,-1\n").Want(http.StatusUnprocessableEntity)
		if got := references(c, ""); got != "old,A,C,D" {
			t.Errorf("at the end: %s", got)
		}
	})
}

func TestListUpload(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		c.Post(apitest.DevicesPath, []byte(`[{"reference": "old"}]`)).Want(http.StatusOK)
		bad := []byte(
			`[{"reference": "A"}, {"reference": "B", "up_kv": -1, "maker": "x"}, {"reference": "A"}, {"reference": "old"}, 7, ` +
				`{"reference": "C", "price": 12.5, "currency": "XTS"}, {"reference": "D", "price": "1"}]`)
		p := c.Post(apitest.DevicesPath, bad).Want(http.StatusUnprocessableEntity).Problem()
		var places []string
		for _, f := range p.Errors {
			places = append(places, *f.Pointer)
		}
		want := []string{"/1/maker", "/1/up_kv", "/2/reference", "/3/reference", "/4", "/5/price", "/6/currency"}
		if !slices.Equal(places, want) || !strings.Contains(p.Errors[5].Reason, `a decimal text such as "12.50"`) {
			t.Errorf("%v\n%+v", places, p.Errors)
		}
		c.Post(apitest.DevicesPath, []byte(`[{"reference": "A"}]`)).Want(http.StatusOK)
		p = c.Post(apitest.DevicesPath, []byte(`{"reference": "old"}`)).Want(http.StatusUnprocessableEntity).Problem()
		if len(p.Errors) != 1 || *p.Errors[0].Pointer != "/reference" {
			t.Errorf("%+v", p.Errors)
		}
		c.Post(apitest.DevicesPath+"?replace=true", []byte(`{"reference": "old", "name": "replaced"}`)).Want(http.StatusOK)
		for body, status := range map[string]int{
			``: 400, `[`: 400, `[{"reference": "X"}`: 400, `[{"reference": "X"}] x`: 400, `[]`: 422, `null`: 422, `"X"`: 422, `{}`: 422,
			`{"reference": "X", "reference": "Y"}`: 422,
			`{"reference": " X"}`:                  422, `{"reference": "X", "up_kv": 1e400}`: 422, `{"reference": "X", "name": "\u0007"}`: 422,
			"[" + strings.Repeat(`{"reference": "X"},`, 10_000) + `{"reference": "X"}]`: 422,
		} {
			if a := c.Post(apitest.DevicesPath, []byte(body)); a.Status != status {
				t.Errorf("%.60s: %d, want %d: %.300s", body, a.Status, status, a.Body)
			}
		}
		if got := references(c, ""); got != "old,A" {
			t.Errorf("at the end: %s", got)
		}
	})
}

// The contract refuses a list with faults, so what is kept of one is tried beside its client.
func TestPartOfAList(t *testing.T) {
	server := apitest.NewServer(t, apitest.OpenSQLite(t))
	r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, apitest.DevicesPath+"?partial=true", strings.NewReader(
		`[{"reference": "A"}, {"reference": "B", "up_kv": -1, "maker": "x"}, {"reference": "A"}, 7, {"reference": "C"}]`))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	server.ServeHTTP(w, r)
	var got report
	if err := json.Unmarshal(w.Body.Bytes(), &got); err != nil || w.Code != http.StatusOK {
		t.Fatal(w.Code, err, w.Body)
	}
	if got.Stored != 2 || got.Refused != 3 || got.Faults != 4 || len(got.Errors) != 4 ||
		references(apitest.NewClient(t, server), "") != "A,C" {
		t.Errorf("%+v", got)
	}
}

func TestUploadsOfTheWrongKind(t *testing.T) {
	c := apitest.NewClient(t, apitest.NewServer(t, apitest.OpenSQLite(t)))
	for _, headers := range [][]string{
		{"Content-Type", "text/plain"}, {}, {"Content-Type", "text/csv; charset=windows-1252"},
		{"Content-Type", "text/csv", "Content-Encoding", "gzip"},
		{"Content-Type", "application/json", "Content-Encoding", "gzip"},
		{"Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"},
	} {
		c.Do(http.MethodPost, apitest.DevicesPath, []byte("reference\nA\n"), headers...).Want(http.StatusUnsupportedMediaType)
	}
	for _, query := range []string{"?partial=1", "?replace=", "?partial=yes", "?dry=true"} {
		apitest.PostTable(c, query, "reference\nA\n").Want(http.StatusBadRequest)
	}
}

// rows gives a table of n rows, each made by row, and then fails with err or ends.
type rowSource struct {
	n, at  int
	row    func(i int) string
	err    error
	buffer []byte
	given  int64
}

func (s *rowSource) Read(p []byte) (int, error) {
	for len(s.buffer) < len(p) && s.at < s.n {
		s.buffer = append(s.buffer, s.row(s.at)...)
		s.at++
	}
	if len(s.buffer) == 0 {
		if s.err != nil {
			return 0, s.err
		}
		return 0, io.EOF
	}
	n := copy(p, s.buffer)
	s.buffer = s.buffer[:copy(s.buffer, s.buffer[n:])]
	s.given += int64(n)
	return n, nil
}

// bigTable is a table of n invented devices with every column filled in.
func bigTable(n int) *rowSource {
	template, _ := csv.NewReader(bytes.NewReader(wire.DeviceTemplate())).ReadAll()
	header, cells := strings.Join(template[0], ","), template[1]
	at := slices.Index(template[0], "reference")
	name := slices.Index(template[0], "name")
	return &rowSource{n: n + 1, row: func(i int) string {
		if i == 0 {
			return header + "\n"
		}
		row := slices.Clone(cells)
		row[at], row[name] = fmt.Sprint("INVENTED-", i), "Invented device"
		return strings.Join(row, ",") + "\n"
	}}
}

// send hands a table straight to the server, so that a source may be as long as it likes.
func send(server *api.Server, ctx context.Context, query string, table io.Reader) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	r := httptest.NewRequestWithContext(ctx, http.MethodPost, apitest.DevicesPath+query, table)
	r.Header.Set("Content-Type", "text/csv")
	r.ContentLength = -1
	server.ServeHTTP(w, r)
	return w
}

func TestUploadsWithoutEnd(t *testing.T) {
	server := apitest.NewServer(t, apitest.OpenSQLite(t))
	c := apitest.NewClient(t, server)
	rows := bigTable(1 << 30)
	if w := send(server, t.Context(), "?partial=true", rows); w.Code != http.StatusUnprocessableEntity ||
		!strings.Contains(w.Body.String(), "more than 200000 rows") {
		t.Errorf("rows without end: %d %.300s", w.Code, w.Body)
	}
	long := &rowSource{n: 1 << 30, row: func(i int) string {
		if i == 0 {
			return "reference,name\n"
		}
		return fmt.Sprint(i, ",", strings.Repeat("x", 60_000), "\n")
	}}
	if w := send(server, t.Context(), "?partial=true", long); w.Code != http.StatusRequestEntityTooLarge || long.given > 257<<20 {
		t.Errorf("bytes without end: %d after %d bytes", w.Code, long.given)
	}
	r := httptest.NewRequestWithContext(t.Context(), http.MethodPost, apitest.DevicesPath, bytes.NewReader(nil))
	r.Header.Set("Content-Type", "text/csv")
	r.ContentLength = 1 << 30
	w := httptest.NewRecorder()
	if server.ServeHTTP(w, r); w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("1 GiB announced: %d", w.Code)
	}
	if got := references(c, ""); got != "" {
		t.Errorf("stored: %s", got)
	}
}

func TestManyFaultsAreCounted(t *testing.T) {
	server := apitest.NewServer(t, apitest.OpenSQLite(t))
	table := &rowSource{n: 5001, row: func(i int) string {
		if i == 0 {
			return "reference,up_kv\n"
		}
		return fmt.Sprint(i, ",-1\n")
	}}
	w := send(server, t.Context(), "", table)
	var p apitest.Problem
	if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil || w.Code != http.StatusUnprocessableEntity {
		t.Fatal(w.Code, err)
	}
	if len(p.Errors) != 1000 || p.Detail != "5000 faults, of which 1000 are listed; nothing was stored" {
		t.Errorf("%d faults, %s", len(p.Errors), p.Detail)
	}
}

// TestUploadsBrokenOff ends uploads in the middle: nothing of them is stored, and no file is left behind.
func TestUploadsBrokenOff(t *testing.T) {
	folder := t.TempDir()
	t.Setenv("TMPDIR", folder)
	for name, open := range apitest.Stores() {
		t.Run(name, func(t *testing.T) {
			server := apitest.NewServer(t, open(t))
			c := apitest.NewClient(t, server)
			broken := bigTable(3000)
			broken.err = io.ErrUnexpectedEOF
			if w := send(server, t.Context(), "?partial=true", broken); w.Code != http.StatusBadRequest {
				t.Errorf("connection lost: %d %s", w.Code, w.Body)
			}
			lastRow := bigTable(3000)
			row := lastRow.row
			lastRow.row = func(i int) string { return strings.Replace(row(i), "INVENTED-3000,", ",", 1) }
			if w := send(server, t.Context(), "", lastRow); w.Code != http.StatusUnprocessableEntity {
				t.Errorf("error in the last row: %d %s", w.Code, w.Body)
			}
			ctx, cancel := context.WithCancel(t.Context())
			cancelled := bigTable(3000)
			row = cancelled.row
			cancelled.row = func(i int) string {
				if i == 2500 {
					cancel()
				}
				return row(i)
			}
			if w := send(server, ctx, "", cancelled); w.Code < 400 {
				t.Errorf("cancelled: %d", w.Code)
			}
			if got := references(c, ""); got != "" {
				t.Errorf("stored: %s", got)
			}
			if w := send(server, t.Context(), "", bigTable(3000)); w.Code != http.StatusOK || !strings.Contains(w.Body.String(), `"stored":3000`) {
				t.Errorf("the whole table: %d %s", w.Code, w.Body)
			}
		})
	}
	if left, err := filepath.Glob(filepath.Join(folder, "levinward-devices-*")); err != nil || len(left) > 0 {
		t.Errorf("files left behind: %v, %v", left, err)
	}
	if _, err := os.Stat(folder); err != nil {
		t.Error(err)
	}
}
