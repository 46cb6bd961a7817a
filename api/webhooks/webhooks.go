package webhooks

import (
	"errors"
	"net/http"
	"slices"
	"strconv"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/api/protocol"
	"levinward/api/refusal"
	"levinward/api/webhook"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/store"
)

// webhookInput reads the body that makes or changes a webhook.
func (s *Service) webhookInput(c echo.Context) (*wire.WebhookInput, []string, error) {
	b, err := protocol.Body(c, protocol.MediaJSON)
	if err != nil {
		return nil, nil, err
	}
	in, problem := contract.DecodeBody(wire.WebhookInputs, b, func(in *wire.WebhookInput) (faults []risk.Violation) {
		if reason := webhook.CheckAddress(in.URL, s.PrivateURLs); reason != "" {
			faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: "/url", Reason: reason})
		}
		for i, e := range in.Events {
			if slices.Contains(in.Events[:i], e) {
				faults = append(faults, risk.Violation{Rule: risk.RuleOutOfRange, Pointer: "/events/" + strconv.Itoa(i),
					Reason: "must not stand twice"})
			}
		}
		return faults
	})
	if problem != nil {
		return nil, nil, problem
	}
	events := make([]string, len(in.Events))
	for i, e := range in.Events {
		events[i] = string(e)
	}
	return in, events, nil
}

// createWebhook stores a webhook. Its secret is told this once.
func (s *Service) createWebhook(c echo.Context) error {
	in, events, err := s.webhookInput(c)
	if err != nil {
		return err
	}
	id, err := uuid.NewV7()
	if err != nil {
		return err
	}
	w, err := s.Store.CreateWebhook(c.Request().Context(), store.Local,
		store.Webhook{ID: id.String(), CreatedAt: s.Now(), URL: in.URL, Events: events, Secret: webhook.NewSecret()})
	if errors.Is(err, store.ErrTooManyWebhooks) {
		return refusal.TooMany.Problem("at most " + strconv.Itoa(store.MaxWebhooks) + " webhooks")
	}
	if err != nil {
		return err
	}
	doc := webhookOf(&w)
	doc.Secret = w.Secret
	h := c.Response().Header()
	h.Set("Location", "/v1/webhooks/"+w.ID)
	h.Set("Cache-Control", "no-store")
	return protocol.AnswerDocument(c, http.StatusCreated, doc)
}

// webhookOf is a webhook without its secret.
func webhookOf(w *store.Webhook) wire.Webhook {
	events := make([]wire.Event, len(w.Events))
	for i, e := range w.Events {
		events[i] = wire.Event(e)
	}
	return wire.Webhook{ID: w.ID, URL: w.URL, Events: events, CreatedAt: w.CreatedAt}
}

// listWebhooks answers all.
func (s *Service) listWebhooks(c echo.Context) error {
	all, err := s.Store.ListWebhooks(c.Request().Context(), store.Local)
	if err != nil {
		return err
	}
	list := wire.WebhookList{Webhooks: make([]wire.Webhook, len(all))}
	for i := range all {
		list.Webhooks[i] = webhookOf(&all[i])
	}
	return protocol.Answer(c, list)
}

// webhook answers one.
func (s *Service) webhook(c echo.Context) error {
	w, err := s.Store.Webhook(c.Request().Context(), store.Local, c.Param("id"))
	if err != nil {
		return protocol.NoSuch("webhook", err)
	}
	return protocol.Answer(c, webhookOf(&w))
}

// changeWebhook sets address and events.
func (s *Service) changeWebhook(c echo.Context) error {
	in, events, err := s.webhookInput(c)
	if err != nil {
		return err
	}
	w, err := s.Store.ChangeWebhook(c.Request().Context(), store.Local, c.Param("id"), in.URL, events)
	if err != nil {
		return protocol.NoSuch("webhook", err)
	}
	return protocol.Answer(c, webhookOf(&w))
}

// deleteWebhook removes one with its deliveries.
func (s *Service) deleteWebhook(c echo.Context) error {
	if err := s.Store.DeleteWebhook(c.Request().Context(), store.Local, c.Param("id")); err != nil {
		return protocol.NoSuch("webhook", err)
	}
	return c.NoContent(http.StatusNoContent)
}

// listDeliveries answers a page of what a webhook was told or has to be told, the newest first.
func (s *Service) listDeliveries(c echo.Context) error {
	limit, cursor, err := protocol.PageOf(c)
	if err != nil {
		return err
	}
	page, err := s.Store.ListDeliveries(c.Request().Context(), store.Local, c.Param("id"), limit, cursor)
	if err != nil {
		return protocol.NoSuch("webhook", err)
	}
	list := wire.DeliveryList{Deliveries: make([]wire.Delivery, len(page.Deliveries))}
	for i := range page.Deliveries {
		list.Deliveries[i] = deliveryOf(&page.Deliveries[i])
	}
	protocol.SetNextLink(c, page.Next)
	return protocol.Answer(c, list)
}

func deliveryOf(d *store.Delivery) wire.Delivery {
	doc := wire.Delivery{N: int(d.N), Event: wire.Event(d.Event), HappenedAt: d.HappenedAt, Assessment: d.Assessment, Revision: d.Revision,
		Reference: d.Reference,
		State:     d.State, Attempts: d.Attempts, Status: d.Status, Response: d.Response, Error: d.Error}
	if d.State == store.DeliveryDue {
		doc.DueAt = &d.DueAt
	}
	if !d.AttemptedAt.IsZero() {
		doc.AttemptedAt, doc.Duration = &d.AttemptedAt, new(d.Duration.Seconds())
	}
	return doc
}

// retryDelivery makes a delivery due now.
func (s *Service) retryDelivery(c echo.Context) error {
	n, err := strconv.ParseInt(c.Param("n"), 10, 64)
	if err != nil {
		return refusal.NotFound.Problem("there is no such delivery")
	}
	d, err := s.Store.RetryDelivery(c.Request().Context(), store.Local, c.Param("id"), n, s.Now())
	if err != nil {
		return protocol.NoSuch("delivery", err)
	}
	return protocol.AnswerDocument(c, http.StatusAccepted, deliveryOf(&d))
}
