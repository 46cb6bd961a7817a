// Package webhooks answers for webhooks and their deliveries.
package webhooks

import (
	"time"

	"github.com/labstack/echo/v4"

	"levinward/store"
)

// Service is what the operations need.
type Service struct {
	Store       store.Webhooks
	Now         func() time.Time
	PrivateURLs bool // URLs may lead to addresses that are not public
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.POST("/v1/webhooks", s.createWebhook)
	e.GET("/v1/webhooks", s.listWebhooks)
	e.GET("/v1/webhooks/:id", s.webhook)
	e.PUT("/v1/webhooks/:id", s.changeWebhook)
	e.DELETE("/v1/webhooks/:id", s.deleteWebhook)
	e.GET("/v1/webhooks/:id/deliveries", s.listDeliveries)
	e.POST("/v1/webhooks/:id/deliveries/:n/retries", s.retryDelivery)
}
