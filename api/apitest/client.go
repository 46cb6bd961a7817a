// Package apitest speaks to the service from the outside. Every request and
// every answer that passes through it is held against openapi.yaml.
package apitest

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"mime"
	"net/http"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/getkin/kin-openapi/openapi3filter"
	"github.com/getkin/kin-openapi/routers"
	"github.com/getkin/kin-openapi/routers/legacy"
)

func init() { // bodies that the contract describes as texts
	openapi3filter.RegisterBodyDecoder("text/html", openapi3filter.PlainBodyDecoder)
	openapi3filter.RegisterBodyDecoder("text/csv", openapi3filter.PlainBodyDecoder)
	openapi3filter.RegisterBodyDecoder("application/yaml", openapi3filter.PlainBodyDecoder)
	openapi3filter.RegisterBodyDecoder("text/event-stream", openapi3filter.PlainBodyDecoder)
	openapi3filter.RegisterBodyDecoder("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", openapi3filter.FileBodyDecoder)
	openapi3filter.RegisterBodyDecoder("application/geopackage+sqlite3", openapi3filter.FileBodyDecoder)
	openapi3filter.RegisterBodyDecoder("application/vnd.oai.openapi+json", openapi3filter.JSONBodyDecoder)
}

// Client sends requests on behalf of a test.
type Client struct {
	t        testing.TB
	base     string
	contract *operations
}

// operations are those of a contract, and which of them have answered how.
type operations struct {
	*document

	mu   sync.Mutex
	used map[string]bool // "GET /healthz 200"
}

// document is a contract that was read.
type document struct {
	doc    *openapi3.T
	router routers.Router
}

// documents are those read so far, by their text: reading takes longer than most tests.
var documents sync.Map

func readDocument(text []byte) (*document, error) {
	if known, ok := documents.Load(string(text)); ok {
		return known.(*document), nil
	}
	doc, err := openapi3.NewLoader().LoadFromData(text)
	if err != nil {
		return nil, err
	}
	doc.Servers = nil // whatever address it is served at
	router, err := legacy.NewRouter(doc)
	if err != nil {
		return nil, err
	}
	d := &document{doc, router}
	documents.Store(string(text), d)
	return d, nil
}

// New makes a client of the service at base, "http://127.0.0.1:1234".
func New(t testing.TB, base string, contractYAML []byte) *Client {
	t.Helper()
	d, err := readDocument(contractYAML)
	if err != nil {
		t.Fatal(err)
	}
	return &Client{t, base, &operations{document: d, used: map[string]bool{}}}
}

// With is the client of a subtest.
func (c *Client) With(t testing.TB) *Client {
	other := *c
	other.t = t
	return &other
}

// URL is where the service is.
func (c *Client) URL() string { return c.base }

// Document is the contract.
func (c *Client) Document() *openapi3.T { return c.contract.doc }

// Used reports whether an operation has answered with a status: "GET /healthz 200".
func (c *Client) Used(operation string) bool {
	c.contract.mu.Lock()
	defer c.contract.mu.Unlock()
	return c.contract.used[operation]
}

// Get, Post, Patch and Delete send a request with further headers as name, value, name, value.
func (c *Client) Get(path string, headers ...string) *Answer {
	c.t.Helper()
	return c.Do(http.MethodGet, path, nil, headers...)
}

// Post sends a JSON document.
func (c *Client) Post(path string, body []byte, headers ...string) *Answer {
	c.t.Helper()
	return c.Do(http.MethodPost, path, body, append([]string{"Content-Type", "application/json"}, headers...)...)
}

// Patch posts a merge patch.
func (c *Client) Patch(path, body string, headers ...string) *Answer {
	c.t.Helper()
	return c.Do(http.MethodPost, path, []byte(body), append([]string{"Content-Type", "application/merge-patch+json"}, headers...)...)
}

// Delete removes what is there.
func (c *Client) Delete(path string) *Answer {
	c.t.Helper()
	return c.Do(http.MethodDelete, path, nil)
}

// Do sends a request.
func (c *Client) Do(method, path string, body []byte, headers ...string) *Answer {
	c.t.Helper()
	return c.Send(body, func(r *http.Request) *http.Request { return r }, method, path, headers...)
}

// Send is Do for requests that need something done to them before they go out.
func (c *Client) Send(body []byte, prepare func(*http.Request) *http.Request, method, path string, headers ...string) *Answer {
	c.t.Helper()
	request := func() *http.Request {
		r, err := http.NewRequest(method, c.base+path, bytes.NewReader(body))
		if err != nil {
			c.t.Error(err)
			panic(err) // an error of the test itself
		}
		for i := 0; i < len(headers); i += 2 {
			r.Header.Add(headers[i], headers[i+1])
		}
		return r
	}
	a := &Answer{t: c.t}
	response, err := client.Do(prepare(request()))
	if err != nil {
		c.t.Errorf("%s %s: %v", method, path, err)
		return a
	}
	defer response.Body.Close()
	if a.Body, err = io.ReadAll(response.Body); err != nil {
		c.t.Errorf("%s %s: %v", method, path, err)
	}
	a.Status, a.Header, a.name = response.StatusCode, response.Header, method+" "+path
	c.check(request(), a)
	return a
}

// client keeps answers as they are: no redirect followed, nothing decompressed.
var client = &http.Client{
	Timeout:       time.Minute,
	Transport:     &http.Transport{DisableCompression: true, MaxIdleConnsPerHost: 64},
	CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
}

// check holds a request and its answer against the contract. What the service
// accepts the contract must accept; every answer must be as the contract says.
func (c *Client) check(r *http.Request, a *Answer) {
	c.t.Helper()
	if a.Status >= 400 {
		a.checkProblem()
	}
	if strings.HasPrefix(r.URL.Path, "/docs/") { // pages, not operations
		return
	}
	route, parameters, err := c.contract.router.FindRoute(r)
	if err != nil {
		if a.Status != http.StatusNotFound && a.Status != http.StatusMethodNotAllowed {
			c.t.Errorf("%s: status %d, but it is not in the contract", a.name, a.Status)
		}
		return
	}
	options := &openapi3filter.Options{IncludeResponseStatus: true, SkipSettingDefaults: true, MultiError: true}
	in := &openapi3filter.RequestValidationInput{Request: r, PathParams: parameters, Route: route, Options: options}
	if err := openapi3filter.ValidateRequest(context.Background(), in); err != nil && a.Status < 400 {
		c.t.Errorf("%s: status %d, but the contract refuses the request: %v", a.name, a.Status, err)
	}
	out := &openapi3filter.ResponseValidationInput{RequestValidationInput: in, Status: a.Status, Header: a.Header, Options: options}
	out.SetBodyBytes(a.Body)
	if a.Status == http.StatusNotModified || a.Status == http.StatusNoContent || a.Status == http.StatusMovedPermanently {
		out.Options = &openapi3filter.Options{IncludeResponseStatus: true, ExcludeResponseBody: true}
	}
	if err := openapi3filter.ValidateResponse(context.Background(), out); err != nil {
		c.t.Errorf("%s: the answer is not that of the contract: %v", a.name, err)
	}
	c.contract.mu.Lock()
	defer c.contract.mu.Unlock()
	c.contract.used[r.Method+" "+route.Path+" "+strconv.Itoa(a.Status)] = true
}

// Answer is what came back.
type Answer struct {
	Status int
	Header http.Header
	Body   []byte

	t    testing.TB
	name string
}

// Want ends the test unless the status is the wanted one.
func (a *Answer) Want(status int) *Answer {
	a.t.Helper()
	if a.Status != status {
		a.t.Fatalf("%s: status %d, want %d: %.600s", a.name, a.Status, status, a.Body)
	}
	return a
}

// JSON decodes the body.
func (a *Answer) JSON(into any) {
	a.t.Helper()
	if err := json.Unmarshal(a.Body, into); err != nil {
		a.t.Fatalf("%s: %v: %.200s", a.name, err, a.Body)
	}
}

// MediaType is that of the body, without parameters.
func (a *Answer) MediaType() string {
	media, _, _ := mime.ParseMediaType(a.Header.Get("Content-Type"))
	return media
}

// Problem is an error answer (RFC 9457).
type Problem struct {
	Type, Title, Detail string
	Status              int
	Errors              []Fault
}

// Fault is one entry of its errors.
type Fault struct {
	Pointer                         *string
	Parameter, Rule, Reason, Clause string
	Line                            int
	Column, Value                   string
}

// Problem reads the error answer.
func (a *Answer) Problem() Problem {
	a.t.Helper()
	var p Problem
	a.JSON(&p)
	return p
}

// Kind is the last part of the type of a problem: "not-json".
func (p *Problem) Kind() string { return strings.TrimPrefix(p.Type, "urn:levinward:problem:") }

// inside are words of the program's inside, which no answer may tell.
var inside = regexp.MustCompile(
	`goroutine|\.go:\d|runtime error|json:|Go (struct|value)|unmarshal|openapi|[sS]chema|sqlite|SQLSTATE|pgx|levinward/|0x[0-9a-f]{6}`)

// checkProblem holds an error answer to what all of them have in common.
func (a *Answer) checkProblem() {
	a.t.Helper()
	if media := a.MediaType(); media != "application/problem+json" {
		a.t.Errorf("%s: an error of media type %q", a.name, media)
		return
	}
	p := a.Problem()
	if p.Status != a.Status || p.Title == "" || p.Kind() == p.Type {
		a.t.Errorf("%s: status %d with %.300s", a.name, a.Status, a.Body)
	}
	if leak := inside.FindString(string(a.Body)); leak != "" {
		a.t.Errorf("%s: the error tells %q: %.600s", a.name, leak, a.Body)
	}
	if (p.Kind() == "invalid-input" || p.Kind() == "bad-parameter") && len(p.Errors) == 0 {
		a.t.Errorf("%s: no fault is named: %.300s", a.name, a.Body)
	}
	for _, f := range p.Errors {
		places := 0
		for _, there := range []bool{f.Pointer != nil, f.Parameter != "", f.Line > 0} {
			if there {
				places++
			}
		}
		if places != 1 || f.Reason == "" {
			a.t.Errorf("%s: a fault without place or reason: %.300s", a.name, a.Body)
		}
	}
}
