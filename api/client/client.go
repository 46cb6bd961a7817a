package client

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"regexp"
	"strings"
	"time"
)

// DefaultTimeout is that of a call, unless another http.Client is given. Calls
// that may rightly take longer have none and end with their context: imports and
// uploads of devices and maps, files of all sites, budgets, the removal of a
// portfolio, and the events of a work.
const DefaultTimeout = time.Minute

// New makes a client of the service at base, "http://127.0.0.1:8080". WithHTTPClient
// gives it another http.Client than one with DefaultTimeout, for all calls.
//
// Types and methods are generated from openapi.yaml; JSON200 or JSON201 of an
// answer is its document. A refusal is the error of the call:
//
//	answer, err := service.CalculateWithResponse(ctx, input)
//	var refusal *client.Problem
//	if errors.As(err, &refusal) {
//		… refusal.Errors names every fault and where it stands
//	}
func New(base string, options ...ClientOption) (*ClientWithResponses, error) {
	all := append([]ClientOption{WithHTTPClient(&timed{http.Client{Timeout: DefaultTimeout}, http.Client{}})}, options...)
	return NewClientWithResponses(base, append(all, refuse)...)
}

// timed has a time limit for usual calls and none for long ones.
type timed struct{ usual, long http.Client }

// Do sends a request.
func (t *timed) Do(request *http.Request) (*http.Response, error) {
	if takesLong(request.Method, request.URL.Path) {
		return t.long.Do(request)
	}
	return t.usual.Do(request)
}

// longCalls are those that the service gives more time than others. What stands before /v1 is the base.
var longCalls = map[string]*regexp.Regexp{
	http.MethodPost:   regexp.MustCompile(`/v1/(portfolios/[^/]+/(imports|budget)|devices|flash-density-maps)$`),
	http.MethodGet:    regexp.MustCompile(`/v1/(portfolios/[^/]+/sites\.[a-z]+|work/[^/]+/events)$`),
	http.MethodDelete: regexp.MustCompile(`/v1/portfolios/[^/]+$`),
}

func takesLong(method, path string) bool {
	calls, ok := longCalls[method]
	return ok && calls.MatchString(path)
}

// refuse makes refusals of the service errors of the call.
func refuse(c *Client) error {
	c.Client = &refuser{c.Client}
	return nil
}

type refuser struct{ next HttpRequestDoer }

// maxProblem is far beyond any problem of the service, in bytes.
const maxProblem = 16 << 20

// Do sends a request. A status of 400 or more is a *Problem, also where
// something between client and service answers in another form.
func (r *refuser) Do(request *http.Request) (*http.Response, error) {
	response, err := r.next.Do(request)
	if err != nil || response.StatusCode < http.StatusBadRequest {
		return response, err
	}
	defer response.Body.Close()
	body, err := io.ReadAll(io.LimitReader(response.Body, maxProblem))
	p := &Problem{}
	media, _, _ := mime.ParseMediaType(response.Header.Get("Content-Type"))
	if err != nil || media != "application/problem+json" || json.Unmarshal(body, p) != nil {
		*p = Problem{Type: "about:blank", Title: http.StatusText(response.StatusCode)} // RFC 9457, 4.2.1
	}
	p.Status = response.StatusCode
	return nil, p
}

// Error tells the problem with its faults.
func (p *Problem) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%d %s", p.Status, p.Title)
	if p.Detail != nil && *p.Detail != "" {
		b.WriteString(": " + *p.Detail)
	}
	for _, f := range p.Errors {
		b.WriteString("; " + f.String())
	}
	return b.String()
}

// String tells a fault with the place where it stands, and what stands there.
func (f Fault) String() string {
	place := ""
	switch {
	case f.Pointer != nil && *f.Pointer != "":
		place = *f.Pointer
	case f.Parameter != nil:
		place = *f.Parameter
	case f.Line != nil:
		place = fmt.Sprintf("line %d", *f.Line)
		if f.Column != nil && *f.Column != "" {
			place += ", " + *f.Column
		}
	}
	if f.Value != nil && *f.Value != "" {
		place = strings.TrimSpace(fmt.Sprintf("%s %q", place, *f.Value))
	}
	switch {
	case place == "":
		return f.Reason
	case f.Line != nil:
		return place + ": " + f.Reason
	}
	return place + " " + f.Reason
}

// SPDLevel is how well SPDs are coordinated or bonded: a level, or the
// probability of a set better than LPL I where Level is empty.
type SPDLevel struct {
	Level       string  // none, III-IV, II or I
	Probability float64 // P_EB or P_SPD, 0.001 to 0.005
}

// MarshalJSON writes the level, or else the probability.
func (l SPDLevel) MarshalJSON() ([]byte, error) {
	if l.Level != "" {
		return json.Marshal(l.Level)
	}
	return json.Marshal(l.Probability)
}

// UnmarshalJSON reads a level or a probability.
func (l *SPDLevel) UnmarshalJSON(b []byte) error {
	var v SPDLevel
	if json.Unmarshal(b, &v.Level) != nil && json.Unmarshal(b, &v.Probability) != nil {
		return errors.New("an SPD level is a text or a number")
	}
	*l = v
	return nil
}
