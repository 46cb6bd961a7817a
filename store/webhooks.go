package store

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
)

// The events that a webhook can be told.
const (
	EventCreated = "assessment.created"
	EventRevised = "assessment.revised"
	EventDeleted = "assessment.deleted"
)

// Events are all of them.
var Events = []string{EventCreated, EventRevised, EventDeleted}

// Limits of webhooks.
const (
	MaxWebhooks = 20   // of an organisation
	MaxAddress  = 2000 // bytes of an URL
	MaxExcerpt  = 1024 // bytes of what is kept of an answer, or of a failure
)

// ErrTooManyWebhooks: the organisation has MaxWebhooks.
var ErrTooManyWebhooks = errors.New("the organisation has as many webhooks as are allowed")

// Webhook is an address that is told of events.
type Webhook struct {
	ID        string // UUID, chosen by the caller (version 7)
	CreatedAt time.Time
	URL       string
	Events    []string // some of Events, in their order
	Secret    string   // what requests are signed with; never changes
}

// The states of a delivery.
const (
	DeliveryDue       = "due" // to be sent at DueAt
	DeliveryDelivered = "delivered"
	DeliveryFailed    = "failed" // given up
)

// Delivery is one event for one webhook. It is written in the transaction of the
// change that it tells of, and no change that is kept lacks it.
type Delivery struct {
	Webhook    string
	N          int64 // never given twice
	Event      string
	Assessment string
	Revision   int // the newest; of what was deleted, the last
	Reference  string
	HappenedAt time.Time

	State    string
	DueAt    time.Time
	Attempts int

	// Of the newest attempt that ended; AttemptedAt is the zero time where none has.
	AttemptedAt time.Time
	Duration    time.Duration // to the millisecond
	Status      int           // of the answer; 0 where there was none
	Response    string        // its beginning
	Error       string        // why there was none
}

// Claimed is a delivery to be sent, with what that takes.
type Claimed struct {
	Delivery
	URL    string
	Secret string
}

// Attempt is what came of sending a claimed delivery.
type Attempt struct {
	Webhook string
	N       int64
	Number  int // Delivery.Attempts as it was claimed

	At       time.Time
	Duration time.Duration
	Status   int
	Response string
	Error    string

	State string    // what the delivery is now
	DueAt time.Time // of the next attempt, where it is DeliveryDue
}

// DeliveryPage is a part of a list. Next is empty on the last one.
type DeliveryPage struct {
	Deliveries []Delivery
	Next       string
}

// Webhooks keeps webhooks and what has to be told them.
type Webhooks interface {
	// CreateWebhook stores a webhook, to be told of changes from now on; ErrExists, ErrTooManyWebhooks.
	CreateWebhook(ctx context.Context, org Organisation, w Webhook) (Webhook, error)
	// Webhook returns one; ErrNotFound.
	Webhook(ctx context.Context, org Organisation, id string) (Webhook, error)
	// ListWebhooks returns all, the oldest first.
	ListWebhooks(ctx context.Context, org Organisation) ([]Webhook, error)
	// ChangeWebhook sets address and events; ErrNotFound. Deliveries still due go to the new address.
	ChangeWebhook(ctx context.Context, org Organisation, id, url string, events []string) (Webhook, error)
	// DeleteWebhook removes a webhook with its deliveries; ErrNotFound.
	DeleteWebhook(ctx context.Context, org Organisation, id string) error

	// ListDeliveries returns a page of the deliveries of a webhook, the newest first; ErrNotFound, ErrBadCursor.
	ListDeliveries(ctx context.Context, org Organisation, webhook string, limit int, cursor string) (DeliveryPage, error)
	// RetryDelivery makes a delivery due, whatever came of it; ErrNotFound.
	RetryDelivery(ctx context.Context, org Organisation, webhook string, n int64, at time.Time) (Delivery, error)

	// WebhooksToTell returns the webhooks that have deliveries to be claimed at a time, the oldest first.
	WebhooksToTell(ctx context.Context, org Organisation, at time.Time) ([]string, error)
	// ClaimDeliveries takes deliveries to a webhook that are due, the longest due first, and counts an attempt of
	// each. Nobody else gets them before until, when whoever claimed them counts as dead.
	ClaimDeliveries(ctx context.Context, org Organisation, webhook string, at, until time.Time, limit int) ([]Claimed, error)
	// SettleDelivery notes what came of an attempt; ErrNotFound where it is not the newest one.
	SettleDelivery(ctx context.Context, org Organisation, a Attempt) error
	// ForgetDeliveries removes deliveries that ended before a time, at most limit of them, and returns how many.
	ForgetDeliveries(ctx context.Context, org Organisation, before time.Time, limit int) (int, error)
}

// Normalise brings a webhook into the form in which both databases keep it; ErrInvalid.
func (w *Webhook) Normalise() error {
	var faults []error
	id, ok := CanonicalID(w.ID)
	if !ok {
		faults = append(faults, fmt.Errorf("id %.40q: not a UUID", w.ID))
	}
	w.ID = id
	w.CreatedAt = w.CreatedAt.UTC().Truncate(time.Microsecond)
	if !validTime(w.CreatedAt) {
		faults = append(faults, fmt.Errorf("creation time %v: not in the years 1 to 9999", w.CreatedAt))
	}
	if w.Secret == "" {
		faults = append(faults, errors.New("secret: empty"))
	}
	return invalid(append(faults, checkText("secret", w.Secret, MaxKey), CheckWebhook(w.URL, w.Events))...)
}

// CheckWebhook refuses, with ErrInvalid, an address or events that could not be kept.
func CheckWebhook(url string, events []string) error {
	var faults []error
	if url == "" {
		faults = append(faults, errors.New("address: empty"))
	}
	if len(events) == 0 {
		faults = append(faults, errors.New("events: none"))
	}
	for i, e := range events {
		if !slices.Contains(Events, e) || slices.Contains(events[:i], e) {
			faults = append(faults, fmt.Errorf("event %.40q: unknown or given twice", e))
		}
	}
	return invalid(append(faults, checkText("address", url, MaxAddress))...)
}

// JoinEvents writes events as both databases keep them: in their order, each between spaces.
func JoinEvents(events []string) string {
	text := " "
	for _, e := range Events {
		if slices.Contains(events, e) {
			text += e + " "
		}
	}
	return text
}

// SplitEvents reads JoinEvents.
func SplitEvents(text string) []string { return strings.Fields(text) }

// Check refuses, with ErrInvalid, what came of an attempt and could not be kept.
func (a *Attempt) Check() error {
	var faults []error
	if a.State != DeliveryDue && a.State != DeliveryDelivered && a.State != DeliveryFailed {
		faults = append(faults, fmt.Errorf("state %.40q: unknown", a.State))
	}
	return invalid(append(faults, checkText("response", a.Response, MaxExcerpt), checkText("error", a.Error, MaxExcerpt))...)
}
