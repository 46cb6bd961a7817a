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
	"sync"
	"time"

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
	atOnce      = 16              // deliveries under way in one process
	pollEvery   = time.Second     // how soon what is due is noticed
	forgetEvery = time.Hour       // how often old deliveries are looked for
	lease       = 3 * timeout     // how long a claim lasts; an attempt and its note take less
	settleLimit = 5 * time.Second // to note what came of an attempt
)

func (s *Sender) now() time.Time {
	if s.Now != nil {
		return s.Now()
	}
	return time.Now()
}

// Run sends until ctx is done, and returns when the attempts under way have ended.
func (s *Sender) Run(ctx context.Context) {
	poll, old := time.NewTicker(pollEvery), time.NewTicker(forgetEvery)
	defer poll.Stop()
	defer old.Stop()
	defer s.client.CloseIdleConnections()
	for {
		n, err := s.SendDue(ctx)
		s.report(ctx, "deliveries are not sent", err)
		if n == atOnce {
			if ctx.Err() == nil {
				continue // there may be more
			}
		}
		select {
		case <-ctx.Done():
			return
		case <-poll.C:
		case <-old.C:
			s.report(ctx, "old deliveries are not removed", s.forget(ctx))
		}
	}
}

func (s *Sender) report(ctx context.Context, what string, err error) {
	if err != nil && ctx.Err() == nil {
		s.Log.Warn(what, "error", err)
	}
}

// SendDue sends some of what is due, at the same time, and returns how many when all of them have ended.
func (s *Sender) SendDue(ctx context.Context) (int, error) {
	if ctx.Err() != nil {
		return 0, nil
	}
	now := s.now()
	claimed, err := s.Store.ClaimDeliveries(ctx, store.Local, now, now.Add(lease), atOnce)
	if err != nil {
		return 0, err
	}
	var all sync.WaitGroup
	errs := make([]error, len(claimed))
	for i := range claimed {
		// What is claimed is sent to the end, so that none arrives twice because the service stops.
		all.Go(func() { errs[i] = s.deliver(context.WithoutCancel(ctx), &claimed[i]) })
	}
	all.Wait()
	return len(claimed), errors.Join(errs...)
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
