package client

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"net/http"
	"strconv"
	"strings"
	"time"
)

// MaxDeliveryAge is how long after its signature a delivery is accepted; a
// clock may run as much behind that of the service.
const MaxDeliveryAge = 5 * time.Minute

// ErrSignature: a request is no delivery of the webhook, or an old one sent again.
var ErrSignature = errors.New("not signed with the secret of the webhook, or too long ago")

// ReadDelivery verifies and reads what a webhook received: the headers and the body,
// byte for byte, under the secret that the service told when the webhook was made.
// Whoever answers with a status of 2xx gets it no more. Error: ErrSignature, or that of a body which is no message.
func ReadDelivery(secret string, header http.Header, body []byte, now time.Time) (*WebhookMessage, error) {
	seconds, signature, ok := strings.Cut(header.Get("Levinward-Signature"), ",")
	seconds, isTime := strings.CutPrefix(seconds, "t=")
	signature, isSignature := strings.CutPrefix(signature, "v1=")
	unix, err := strconv.ParseInt(seconds, 10, 64)
	sum, errHex := hex.DecodeString(signature)
	if !ok || !isTime || !isSignature || err != nil || errHex != nil {
		return nil, ErrSignature
	}
	mac := hmac.New(sha256.New, []byte(secret))
	mac.Write([]byte(seconds + "."))
	mac.Write(body)
	if age := now.Sub(time.Unix(unix, 0)); !hmac.Equal(sum, mac.Sum(nil)) || age > MaxDeliveryAge || age < -MaxDeliveryAge {
		return nil, ErrSignature
	}
	m := &WebhookMessage{}
	if err := json.Unmarshal(body, m); err != nil {
		return nil, err
	}
	return m, nil
}
