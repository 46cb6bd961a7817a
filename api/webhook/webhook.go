// Package webhook tells webhooks of what happened: it signs deliveries, sends
// them, and sends them again until they arrive or are given up.
package webhook

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"strconv"
	"time"

	"levinward/store"
)

// Headers of a delivery.
const (
	SignatureHeader = "Levinward-Signature" // t=SECONDS,v1=HEX
	EventHeader     = "Levinward-Event"
	DeliveryHeader  = "Levinward-Delivery" // the same in every attempt
)

// NewSecret makes what the deliveries of a webhook are signed with: 256 random bits as text.
func NewSecret() string {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// Sign is the signature header of a body sent at a time: the seconds since 1970
// and HMAC-SHA-256 (RFC 2104) of seconds, ".", body under the text of the secret.
func Sign(secret string, at time.Time, body []byte) string {
	seconds := strconv.FormatInt(at.Unix(), 10)
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write([]byte(seconds + "."))
	mac.Write(body)
	return "t=" + seconds + ",v1=" + hex.EncodeToString(mac.Sum(nil))
}

// message is the body of a delivery.
type message struct {
	Delivery   int64     `json:"delivery"`
	Event      string    `json:"event"`
	HappenedAt time.Time `json:"happened_at"`
	Assessment string    `json:"assessment"`
	Revision   int       `json:"revision"`
	Reference  string    `json:"reference"`
}

// Body is what is sent, the same in every attempt.
func Body(d *store.Delivery) ([]byte, error) {
	return json.Marshal(message{d.N, d.Event, d.HappenedAt, d.Assessment, d.Revision, d.Reference})
}

// The schedule of attempts. The last one of MaxAttempts is some eight hours after the first.
const (
	MaxAttempts = 12
	firstPause  = 15 * time.Second
	longestWait = 4 * time.Hour
	jitter      = 0.2 // of the pause, either way
)

// Backoff is the pause after a number of failed attempts: it doubles from time to
// time. random is in [0, 1) and spreads attempts that failed together.
func Backoff(attempts int, random float64) time.Duration {
	pause := min(firstPause<<min(attempts-1, 20), longestWait)
	return time.Duration(float64(pause) * (1 + jitter*(2*random-1)))
}

// keep is how long deliveries that ended stay in the log.
const keep = 30 * 24 * time.Hour

// forget removes old deliveries, some at a time.
func (s *Sender) forget(ctx context.Context) error {
	for {
		n, err := s.Store.ForgetDeliveries(ctx, store.Local, s.now().Add(-keep), forgetAtOnce)
		if err != nil || n < forgetAtOnce {
			return err
		}
	}
}

const forgetAtOnce = 1000
