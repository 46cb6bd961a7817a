package client

import (
	"errors"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// Long calls outlast the time limit of usual ones, wherever the service is, and end with their context.
func TestTimeLimits(t *testing.T) {
	const limit = 50 * time.Millisecond
	var never atomic.Bool // answers: a busy machine may notice the limit late
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		answer := time.After(4 * limit)
		if never.Load() {
			answer = nil
		}
		select {
		case <-answer:
		case <-r.Context().Done():
		}
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusNoContent)
	}))
	defer server.Close()
	for _, base := range []string{server.URL, server.URL + "/behind/a/proxy/"} {
		c, err := New(base, WithHTTPClient(&timed{usual: http.Client{Timeout: limit}}))
		if err != nil {
			t.Fatal(err)
		}
		ctx := t.Context()
		never.Store(false)
		for name, call := range map[string]func() (*http.Response, error){
			"imports": func() (*http.Response, error) {
				return c.ImportSitesWithBody(ctx, "p", nil, "text/csv", strings.NewReader("x"))
			},
			"devices": func() (*http.Response, error) {
				return c.UploadDevicesWithBody(ctx, nil, "text/csv", strings.NewReader("x"))
			},
			"maps": func() (*http.Response, error) {
				return c.CreateFlashDensityMapWithBody(ctx, nil, "text/csv", strings.NewReader("x"))
			},
			"events":  func() (*http.Response, error) { return c.WatchWork(ctx, "w") },
			"sites":   func() (*http.Response, error) { return c.ExportSitesGeoPackage(ctx, "p", nil) },
			"removal": func() (*http.Response, error) { return c.DeletePortfolio(ctx, "p") },
		} {
			if answer, err := call(); err != nil {
				t.Errorf("%s: %v", name, err)
			} else {
				answer.Body.Close()
			}
		}
		never.Store(true)
		var late interface{ Timeout() bool }
		for name, call := range map[string]func() (*http.Response, error){
			"reference": func() (*http.Response, error) { return c.GetReference(ctx) },
			"portfolio": func() (*http.Response, error) { return c.GetPortfolio(ctx, "p") },
			"page":      func() (*http.Response, error) { return c.ListSites(ctx, "p", nil) },
			"work":      func() (*http.Response, error) { return c.CancelWork(ctx, "w") },
		} {
			if answer, err := call(); !errors.As(err, &late) || !late.Timeout() {
				t.Errorf("%s: %+v, %v", name, answer, err)
			}
		}
	}
}

func TestNewHasTimeLimits(t *testing.T) {
	c, err := New("http://127.0.0.1:1")
	if err != nil {
		t.Fatal(err)
	}
	own := c.ClientInterface.(*Client).Client.(*refuser).next.(*timed)
	if own.usual.Timeout != DefaultTimeout || own.long.Timeout != 0 {
		t.Errorf("usual calls end after %v, long ones after %v", own.usual.Timeout, own.long.Timeout)
	}
}

func TestFaultsHoldValues(t *testing.T) {
	for want, f := range map[string]Fault{
		`line 3, height_m "1,5": must be a number`: {Line: new(3), Column: new("height_m"), Value: new("1,5"), Reason: "must be a number"},
		`line 3 "x": is no row`:                    {Line: new(3), Value: new("x"), Reason: "is no row"},
		`line 3: is empty`:                         {Line: new(3), Reason: "is empty"},
		`/lines/0/id "a" must be unique`:           {Pointer: new("/lines/0/id"), Value: new("a"), Reason: "must be unique"},
		`limit "0" must be at least 1`:             {Parameter: new("limit"), Value: new("0"), Reason: "must be at least 1"},
		`limit must be at least 1; found "0"`:      {Parameter: new("limit"), Reason: `must be at least 1; found "0"`},
		`"a\nb" holds control characters`:          {Value: new("a\nb"), Reason: "holds control characters"},
		`nothing was found`:                        {Pointer: new(""), Value: new(""), Reason: "nothing was found"},
	} {
		if got := f.String(); got != want {
			t.Errorf("%s\nwant %s", got, want)
		}
	}
}
