package wire

import "time"

// Event is what a webhook can be told.
type Event string

// EventNames are those of all events.
var EventNames = []string{"assessment.created", "assessment.revised", "assessment.deleted"}

// Names lists the events.
func (Event) Names() []string { return EventNames }

// UnmarshalText takes the name of a value.
func (v *Event) UnmarshalText(b []byte) error { return oneOf(v, b, EventNames) }

// WebhookInput makes or changes a webhook.
type WebhookInput struct {
	URL    string  `json:"url" required:"true" len:"[1,2000]"`
	Events []Event `json:"events" required:"true" items:"[1,3]"`
}

// WebhookInputs decodes webhooks.
var WebhookInputs = NewDecoder[WebhookInput]()

// Webhook is an address that is told of events.
type Webhook struct {
	ID        string    `json:"id"`
	URL       string    `json:"url"`
	Events    []Event   `json:"events"`
	CreatedAt time.Time `json:"created_at"`
	Secret    string    `json:"secret,omitempty"` // in the answer that makes it, and never again
}

// WebhookList are all webhooks.
type WebhookList struct {
	Webhooks []Webhook `json:"webhooks"`
}

// Delivery is one event for one webhook and what came of it.
type Delivery struct {
	N           int        `json:"n"`
	Event       Event      `json:"event"`
	HappenedAt  time.Time  `json:"happened_at"`
	Assessment  string     `json:"assessment"`
	Revision    int        `json:"revision"`
	Reference   string     `json:"reference"`
	State       string     `json:"state"`
	Attempts    int        `json:"attempts"`
	DueAt       *time.Time `json:"due_at,omitempty"`
	AttemptedAt *time.Time `json:"attempted_at,omitempty"`
	Duration    *float64   `json:"duration_s,omitempty"`
	Status      int        `json:"status,omitempty"`
	Response    string     `json:"response,omitempty"`
	Error       string     `json:"error,omitempty"`
}

// DeliveryList is a page of deliveries.
type DeliveryList struct {
	Deliveries []Delivery `json:"deliveries"`
}
