// Package devices answers for the library of devices.
package devices

import (
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/contract"
	"levinward/store"
)

// Service is what the operations need.
type Service struct {
	Store    store.DeviceLibrary
	Contract *contract.Contract
	Now      func() time.Time
}

// Routes adds the operations to a server.
func (s *Service) Routes(e *echo.Echo) {
	e.POST("/v1/devices", s.uploadDevices)
	e.GET("/v1/devices", s.listDevices)
	e.GET("/v1/devices/columns.csv", s.deviceColumns)
	e.GET("/v1/devices/:id", s.device)
	e.PUT("/v1/devices/:id", s.replaceDevice)
	e.DELETE("/v1/devices/:id", s.withdrawDevice)
}
