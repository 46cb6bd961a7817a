package webhook

import (
	"bytes"
	"context"
	"errors"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"strconv"
	"strings"
	"time"

	"levinward/api/queue"
	"levinward/store"
)

// Config is what a sender is made of.
type Config struct {
	Store   store.Store
	Log     *slog.Logger
	Now     func() time.Time // the clock; nil for that of the machine
	Private bool             // addresses that are not public, and http, are allowed
	Agent   string           // User-Agent
}

// Sender sends what is due. Any number of senders may share one store.
type Sender struct {
	Config
	client *http.Client
}

// New makes a sender.
func New(c Config) *Sender {
	return &Sender{Config: c, client: newClient(c.Private)}
}

const (
	perReceiver = 8               // deliveries under way to one receiver, in one process
	forgetEvery = time.Hour       // how often old deliveries are looked for
	settleLimit = 5 * time.Second // to note what came of an attempt: with timeout it ends before the lease does
)

func (s *Sender) now() time.Time {
	if s.Now != nil {
		return s.Now()
	}
	return time.Now()
}

// Kind is what a queue does to send deliveries; a lane is a receiver. Every receiver has slots of its
// own, so that none waits for another.
func (s *Sender) Kind() queue.Kind {
	return queue.Kind{
		Name: "deliveries", AtOnce: store.MaxWebhooks * perReceiver, PerLane: perReceiver,
		Due: func(ctx context.Context, at time.Time) ([]string, error) {
			return s.Store.WebhooksToTell(ctx, store.Local, at)
		},
		Claim: s.claim,
	}
}

// Chores are what a queue does for deliveries now and then.
func (s *Sender) Chores() []queue.Chore {
	return []queue.Chore{{Name: "forget old deliveries", Every: forgetEvery, Do: s.forget}}
}

func (s *Sender) claim(ctx context.Context, webhook string, at, until time.Time, limit int) ([]queue.Task, error) {
	claimed, err := s.Store.ClaimDeliveries(ctx, store.Local, webhook, at, until, limit)
	tasks := make([]queue.Task, len(claimed))
	for i := range claimed {
		// What is claimed is sent to the end, so that none arrives twice because the service stops.
		tasks[i].Do = func(ctx context.Context) error { return s.deliver(context.WithoutCancel(ctx), &claimed[i]) }
	}
	return tasks, err
}

// deliver makes one attempt and notes what came of it.
func (s *Sender) deliver(ctx context.Context, c *store.Claimed) error {
	a := store.Attempt{Webhook: c.Webhook, N: c.N, Number: c.Attempts, At: s.now(), State: store.DeliveryDelivered}
	begun := time.Now()
	status, response, err := s.send(ctx, c, a.At)
	a.Duration, a.Status, a.Response = time.Since(begun), status, excerpt(response)
	if err != nil {
		a.Error = excerpt([]byte(told(err)))
	}
	if err != nil || status < 200 || status > 299 {
		a.State = store.DeliveryFailed
		if c.Attempts < MaxAttempts {
			a.State, a.DueAt = store.DeliveryDue, s.now().Add(Backoff(c.Attempts, rand.Float64())) //nolint:gosec // spreads attempts, hides nothing
		}
	}
	noting, cancel := context.WithTimeout(ctx, settleLimit)
	defer cancel()
	err = s.Store.SettleDelivery(noting, store.Local, a)
	if errors.Is(err, store.ErrNotFound) {
		return nil // the webhook is gone, or another attempt has begun
	}
	return err
}

// send posts a delivery and reads the beginning of the answer.
func (s *Sender) send(ctx context.Context, c *store.Claimed, at time.Time) (status int, response []byte, err error) {
	if reason := CheckAddress(c.URL, s.Private); reason != "" {
		return 0, nil, ErrNotPublic // it was allowed when it was stored
	}
	body, err := Body(&c.Delivery)
	if err != nil {
		return 0, nil, err
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, c.URL, bytes.NewReader(body))
	if err != nil {
		return 0, nil, err
	}
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", s.Agent)
	request.Header.Set(EventHeader, c.Event)
	request.Header.Set(DeliveryHeader, strconv.FormatInt(c.N, 10))
	request.Header.Set(SignatureHeader, Sign(c.Secret, at, body))
	answer, err := s.client.Do(request)
	if err != nil {
		return 0, nil, err
	}
	defer answer.Body.Close()
	response, _ = io.ReadAll(io.LimitReader(answer.Body, store.MaxExcerpt)) // the status has said what counts
	return answer.StatusCode, response, nil
}

// told is an error without the address, which stands beside it.
func told(err error) string {
	var wrapped interface {
		error
		Timeout() bool
	}
	switch {
	case errors.Is(err, ErrNotPublic):
		return ErrNotPublic.Error()
	case errors.As(err, &wrapped) && wrapped.Timeout():
		return "no answer in time"
	}
	for inner := errors.Unwrap(err); inner != nil; inner = errors.Unwrap(err) {
		err = inner
	}
	return err.Error()
}

// excerpt is the beginning of a text, as far as it can be kept and shown.
func excerpt(text []byte) string {
	clean := strings.Map(func(r rune) rune {
		if r < ' ' && r != '\n' && r != '\t' || r == 0x7f {
			return -1
		}
		return r
	}, strings.ToValidUTF8(string(text), "\uFFFD"))
	if len(clean) <= store.MaxExcerpt {
		return clean
	}
	return strings.ToValidUTF8(clean[:store.MaxExcerpt], "")
}
