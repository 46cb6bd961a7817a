package apitest

import (
	"encoding/json"
	"net/http"
	"slices"
	"time"

	"levinward/store"
)

// Webhook is what tests look for in a webhook.
type Webhook struct {
	ID, URL, Secret string
	Events          []string
}

// Delivery is what tests look for in a delivery.
type Delivery struct {
	N                      int64
	Event, State, Response string
	Assessment, Reference  string
	Revision, Attempts     int
	Status                 int
	Error                  string
	DueAt                  *time.Time `json:"due_at"`
	AttemptedAt            *time.Time `json:"attempted_at"`
	Duration               *float64   `json:"duration_s"`
}

// CreateWebhook makes a webhook for some events; none: all.
func CreateWebhook(c *Client, url string, events ...string) Webhook {
	if len(events) == 0 {
		events = store.Events
	}
	body, _ := json.Marshal(map[string]any{"url": url, "events": events})
	var w Webhook
	c.Post("/v1/webhooks", body).Want(http.StatusCreated).JSON(&w)
	return w
}

// DeliveriesOf lists the deliveries of a webhook, the oldest first.
func DeliveriesOf(c *Client, id string) []Delivery {
	var list struct{ Deliveries []Delivery }
	c.Get("/v1/webhooks/" + id + "/deliveries?limit=500").Want(http.StatusOK).JSON(&list)
	slices.Reverse(list.Deliveries)
	return list.Deliveries
}
