package webhooks_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"levinward/api"
	"levinward/api/apitest"
	"levinward/api/client"
	"levinward/api/queue"
	"levinward/api/webhook"
	"levinward/store"
)

func TestWebhookSecretIsToldOnce(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		w := apitest.CreateWebhook(c, "https://quotes.example/told")
		if len(w.Secret) != 43 {
			t.Fatalf("secret %q", w.Secret)
		}
		at := "/v1/webhooks/" + w.ID
		apitest.Create(c, apitest.Smallest(t))
		for _, a := range []*apitest.Answer{
			c.Get("/v1/webhooks"), c.Get(at), c.Get(at + "/deliveries"),
			c.Do(http.MethodPut, at, []byte(`{"url": "https://quotes.example/x", "events": ["assessment.created"]}`), "Content-Type", "application/json"),
		} {
			if a.Want(http.StatusOK); strings.Contains(string(a.Body), w.Secret) || strings.Contains(string(a.Body), "secret") {
				t.Errorf("the secret is told again: %s", a.Body)
			}
		}
	})
}

func TestFaultyWebhooks(t *testing.T) {
	apitest.OnBothStores(t, func(t *testing.T, c *apitest.Client) {
		w := apitest.CreateWebhook(c, "https://quotes.example/told")
		for body, want := range map[string]string{
			`{"url": "http://quotes.example/", "events": ["assessment.created"]}`:                                "/url",
			`{"url": "https://10.0.0.1/", "events": ["assessment.created"]}`:                                     "/url",
			`{"url": "https://quotes.example/", "events": []}`:                                                   "/events",
			`{"url": "https://quotes.example/", "events": ["assessment.read"]}`:                                  "/events/0",
			`{"url": "https://quotes.example/", "events": ["assessment.created", "assessment.created"]}`:         "/events/1",
			`{"url": "https://quotes.example/", "events": ["assessment.created"], "secret": "chosen by myself"}`: "/secret",
			`{"events": ["assessment.created"]}`:                                                                 "/url",
		} {
			for _, a := range []*apitest.Answer{c.Post("/v1/webhooks", []byte(body)),
				c.Do(http.MethodPut, "/v1/webhooks/"+w.ID, []byte(body), "Content-Type", "application/json")} {
				p := a.Want(http.StatusUnprocessableEntity).Problem()
				if len(p.Errors) != 1 || *p.Errors[0].Pointer != want {
					t.Errorf("%s: %s", body, a.Body)
				}
			}
		}
		for _, path := range []string{"/v1/webhooks/none", "/v1/webhooks/none/deliveries"} {
			c.Get(path).Want(http.StatusNotFound)
		}
		for _, n := range []string{"1", "x", "99999999999999999999"} {
			c.Do(http.MethodPost, "/v1/webhooks/"+w.ID+"/deliveries/"+n+"/retries", nil).Want(http.StatusNotFound)
		}
		for range store.MaxWebhooks - 1 {
			apitest.CreateWebhook(c, "https://quotes.example/told")
		}
		c.Post("/v1/webhooks", []byte(`{"url": "https://quotes.example/", "events": ["assessment.created"]}`)).Want(http.StatusConflict)
	})
}

// receiver is the program that is told. It notes what it accepted, and fails as often as it is asked to.
type receiver struct {
	t      *testing.T
	url    string
	now    func() time.Time
	mu     sync.Mutex
	secret string
	fail   int // answers with 500 to come
	bodies []string
	got    []client.WebhookMessage // accepted
	heads  []http.Header
}

func newReceiver(t *testing.T, now func() time.Time) *receiver {
	r := &receiver{t: t, now: now}
	server := httptest.NewServer(r)
	t.Cleanup(server.Close)
	r.url = server.URL + "/told"
	return r
}

func (r *receiver) ServeHTTP(w http.ResponseWriter, request *http.Request) {
	body, err := io.ReadAll(request.Body)
	if err != nil {
		r.t.Error(err)
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	r.bodies, r.heads = append(r.bodies, string(body)), append(r.heads, request.Header)
	m, err := client.ReadDelivery(r.secret, request.Header, body, r.now())
	if err != nil || request.Header.Get("Levinward-Event") != string(m.Event) ||
		request.Header.Get("Levinward-Delivery") != strconv.FormatInt(m.Delivery, 10) {
		r.t.Errorf("%v: %s %s", err, request.Header, body)
	}
	if r.fail > 0 {
		r.fail--
		w.WriteHeader(http.StatusInternalServerError)
		io.WriteString(w, "not today")
		return
	}
	r.got = append(r.got, *m)
}

// numbers are those of the deliveries that were accepted, in their order.
func (r *receiver) numbers() (all []int64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, m := range r.got {
		all = append(all, m.Delivery)
	}
	slices.Sort(all)
	return all
}

// clock is one that is set.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time { c.mu.Lock(); defer c.mu.Unlock(); return c.at }

func (c *clock) add(d time.Duration) { c.mu.Lock(); defer c.mu.Unlock(); c.at = c.at.Add(d) }

// watchedService is a service on a store whose webhooks may be on the loopback interface.
type watchedService struct {
	*apitest.Client
	*receiver
	kept  store.Store
	clock *clock
	hook  apitest.Webhook
}

func onBothWithReceiver(t *testing.T, test func(t *testing.T, s *watchedService)) {
	apitest.OnEachStore(t, func(t *testing.T, _ *apitest.Client, kept store.Store) {
		at := &clock{at: apitest.Now}
		config := api.Config{Store: kept, Contract: apitest.Contract(t), Engine: apitest.Engine,
			Log: slog.New(slog.NewTextHandler(t.Output(), nil)), Now: at.now, PrivateWebhooks: true}
		server, err := api.New(config)
		if err != nil {
			t.Fatal(err)
		}
		s := &watchedService{apitest.NewClient(t, server), newReceiver(t, at.now), kept, at, apitest.Webhook{}}
		s.hook = apitest.CreateWebhook(s.Client, s.url)
		s.secret = s.hook.Secret
		test(t, s)
	})
}

func (s *watchedService) sender(private bool) *webhook.Sender {
	return webhook.New(webhook.Config{Store: s.kept, Log: slog.New(slog.DiscardHandler), Now: s.clock.now, Private: private,
		Agent: apitest.Engine})
}

// sendAll sends all that is due and returns how many deliveries that were.
func (s *watchedService) sendAll(t *testing.T, private bool) (int, error) {
	return queue.Drain(t.Context(), queue.Config{Kinds: []queue.Kind{s.sender(private).Kind()}, Now: s.clock.now})
}

// send sends what is due and demands how many that were.
func (s *watchedService) send(t *testing.T, want int) {
	t.Helper()
	n, err := s.sendAll(t, true)
	if err != nil || n != want {
		t.Fatalf("%d sent, want %d, %v", n, want, err)
	}
}

func TestWebhookIsTold(t *testing.T) {
	onBothWithReceiver(t, func(t *testing.T, s *watchedService) {
		first, _ := apitest.Create(s.Client, apitest.Demo(t))
		at := "/v1/assessments/" + first.ID
		s.Patch(at+"/revisions", `{"reference": "second"}`).Want(http.StatusCreated)
		s.Delete(at).Want(http.StatusNoContent)
		s.Post("/v1/assessments", []byte(`{}`)).Want(http.StatusUnprocessableEntity) // refused: nobody is told
		s.Delete(at).Want(http.StatusNotFound)
		for range 3 { // the deletion has the time of the database
			s.sendAll(t, true)
		}
		got := map[string]string{}
		for _, m := range s.got {
			got[string(m.Event)] = fmt.Sprint(m.Assessment, " ", m.Revision, " ", m.Reference)
		}
		for event, want := range map[string]string{
			store.EventCreated: first.ID + " 1 DEMO-1", store.EventRevised: first.ID + " 2 second", store.EventDeleted: first.ID + " 2 second",
		} {
			if got[event] != want {
				t.Errorf("%s: told %q, want %q", event, got[event], want)
			}
		}
		if len(s.bodies) != 3 {
			t.Errorf("%d requests: %q", len(s.bodies), s.bodies)
		}
		for _, d := range apitest.DeliveriesOf(s.Client, s.hook.ID) {
			if d.State != "delivered" || d.Attempts != 1 || d.Status != 200 || d.AttemptedAt == nil || d.Duration == nil || d.DueAt != nil {
				t.Errorf("%+v", d)
			}
		}
	})
}

func TestWebhookIsToldAgain(t *testing.T) {
	onBothWithReceiver(t, func(t *testing.T, s *watchedService) {
		s.fail = webhook.MaxAttempts
		apitest.Create(s.Client, apitest.Demo(t))
		for n := 1; n <= webhook.MaxAttempts; n++ {
			s.send(t, 1)
			s.send(t, 0)
			d := apitest.DeliveriesOf(s.Client, s.hook.ID)[0]
			if d.Attempts != n || d.Status != 500 || d.Response != "not today" {
				t.Fatalf("%+v", d)
			}
			if n == webhook.MaxAttempts {
				if d.State != "failed" || d.DueAt != nil {
					t.Errorf("not given up: %+v", d)
				}
				break
			}
			pause := d.DueAt.Sub(s.clock.now())
			if pause < webhook.Backoff(n, 0)-time.Microsecond || pause > webhook.Backoff(n, 1) || d.State != "due" {
				t.Errorf("after %d attempts a pause of %v: %+v", n, pause, d)
			}
			s.clock.add(pause - time.Second)
			s.send(t, 0)
			s.clock.add(time.Second)
		}
		s.clock.add(1000 * time.Hour)
		s.send(t, 0)
		d := apitest.DeliveriesOf(s.Client, s.hook.ID)[0]
		s.Do(http.MethodPost, "/v1/webhooks/"+s.hook.ID+"/deliveries/"+strconv.FormatInt(d.N, 10)+"/retries", nil).Want(http.StatusAccepted)
		s.send(t, 1)
		if d = apitest.DeliveriesOf(s.Client, s.hook.ID)[0]; d.State != "delivered" || !slices.Equal(s.numbers(), []int64{d.N}) {
			t.Errorf("retried: %+v, accepted %v", d, s.numbers())
		}
		for i, body := range s.bodies {
			if body != s.bodies[0] || i > 0 && s.heads[i].Get("Levinward-Signature") == s.heads[i-1].Get("Levinward-Signature") {
				t.Errorf("attempt %d: %s, signed %s", i, body, s.heads[i].Get("Levinward-Signature"))
			}
		}
	})
}

// Two senders share what is due; what one of them took before it died comes after its claim.
func TestSendersShare(t *testing.T) {
	onBothWithReceiver(t, func(t *testing.T, s *watchedService) {
		const n = 30
		for range n {
			apitest.Create(s.Client, apitest.Smallest(t))
		}
		dead, err := s.kept.ClaimDeliveries(t.Context(), store.Local, s.hook.ID, s.clock.now(), s.clock.now().Add(time.Minute), 2)
		if err != nil || len(dead) != 2 {
			t.Fatal(len(dead), err)
		}
		share := func() {
			apitest.Together(2, func(int) {
				for {
					if sent, err := s.sendAll(t, true); sent == 0 || err != nil {
						if err != nil {
							t.Error(err)
						}
						return
					}
				}
			})
		}
		share()
		if got := s.numbers(); len(got) != n-2 || len(slices.Compact(got)) != n-2 {
			t.Errorf("%d arrived, want %d, each once", len(got), n-2)
		}
		s.clock.add(time.Minute)
		share()
		if got := s.numbers(); len(got) != n || len(slices.Compact(got)) != n {
			t.Errorf("after the crash %d arrived, want %d, each once", len(got), n)
		}
	})
}

// Without permission nothing is sent to addresses that are not public, whatever name leads there.
func TestPrivateAddressesAreRefused(t *testing.T) {
	onBothWithReceiver(t, func(t *testing.T, s *watchedService) {
		apitest.Create(s.Client, apitest.Smallest(t))
		if _, err := s.sendAll(t, false); err != nil {
			t.Fatal(err)
		}
		if d := apitest.DeliveriesOf(s.Client, s.hook.ID)[0]; d.Attempts != 1 || d.Status != 0 || d.Error != webhook.ErrNotPublic.Error() ||
			len(s.bodies) != 0 {
			t.Errorf("%+v, %d requests", d, len(s.bodies))
		}
	})
}

// Redirects are not followed, and a receiver that does not answer is not waited for.
func TestOtherAnswers(t *testing.T) {
	onBothWithReceiver(t, func(t *testing.T, s *watchedService) {
		moved := httptest.NewServer(http.RedirectHandler(s.url, http.StatusTemporaryRedirect))
		gone := httptest.NewServer(http.NotFoundHandler())
		gone.Close()
		t.Cleanup(moved.Close)
		there, away := apitest.CreateWebhook(s.Client, moved.URL), apitest.CreateWebhook(s.Client, gone.URL)
		apitest.Create(s.Client, apitest.Smallest(t))
		s.send(t, 3)
		if d := apitest.DeliveriesOf(s.Client, there.ID)[0]; d.Status != http.StatusTemporaryRedirect || d.State != "due" || len(s.got) != 1 {
			t.Errorf("redirected: %+v, %d arrived", d, len(s.got))
		}
		if d := apitest.DeliveriesOf(s.Client, away.ID)[0]; d.Status != 0 || d.State != "due" || !strings.Contains(d.Error, "refused") {
			t.Errorf("nobody there: %+v", d)
		}
	})
}

// A sender that is stopped lets what is under way arrive, and is done.
func TestSenderStops(t *testing.T) {
	onBothWithReceiver(t, func(t *testing.T, s *watchedService) {
		begun, finish := make(chan struct{}), make(chan struct{})
		slow := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { close(begun); <-finish }))
		t.Cleanup(slow.Close)
		w := apitest.CreateWebhook(s.Client, slow.URL, store.EventRevised)
		first, _ := apitest.Create(s.Client, apitest.Smallest(t))
		s.send(t, 1)
		s.Patch("/v1/assessments/"+first.ID+"/revisions", `{"reference": "second"}`).Want(http.StatusCreated)
		done := make(chan error)
		q := queue.Start(t.Context(), queue.Config{Kinds: []queue.Kind{s.sender(true).Kind()}, Now: s.clock.now})
		<-begun
		go func() { done <- q.Stop(context.Background()) }()
		select {
		case <-done:
			t.Error("stopped before the delivery arrived")
		case <-time.After(20 * time.Millisecond):
		}
		close(finish)
		select {
		case err := <-done:
			if err != nil {
				t.Error(err)
			}
		case <-time.After(time.Minute):
			t.Fatal("it does not stop")
		}
		if d := apitest.DeliveriesOf(s.Client, w.ID)[0]; d.State != "delivered" {
			t.Errorf("%+v", d)
		}
	})
}
