package main

import (
	"io"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"levinward/api/client"
)

// The service tells a webhook by itself, and ends what it is telling when it stops.
func TestServeTellsWebhooks(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		type request struct {
			header http.Header
			body   []byte
		}
		arrived := make(chan request, 10)
		receiver := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
			body, err := io.ReadAll(r.Body)
			if err != nil {
				t.Error(err)
			}
			arrived <- request{r.Header, body}
		}))
		defer receiver.Close()
		webhook := []byte(`{"url": "` + receiver.URL + `", "events": ["assessment.created"]}`)

		closed := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		closed.Post("/v1/webhooks", webhook).Want(http.StatusUnprocessableEntity)
		closed.stop()
		closed.wait(t)

		s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn, "-allow-private-webhooks")
		var made client.Webhook
		s.Post("/v1/webhooks", webhook).Want(http.StatusCreated).JSON(&made)
		stored := s.Post("/v1/assessments", demo(t)).Want(http.StatusCreated)
		select {
		case r := <-arrived:
			m, err := client.ReadDelivery(*made.Secret, r.header, r.body, time.Now())
			if err != nil || m.Assessment.String() != id(t, stored) || m.Event != "assessment.created" {
				t.Errorf("%s: %v", r.body, err)
			}
		case <-time.After(time.Minute):
			t.Fatal("the webhook is not told")
		}
		s.stop()
		if status := s.wait(t); status != exitOK {
			t.Errorf("stopped with status %d: %s", status, s.log.String())
		}
		if len(arrived) != 0 {
			t.Errorf("%d told again", len(arrived))
		}
	})
}
