package protocol

import (
	"crypto/sha256"
	"encoding/hex"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"levinward/api/refusal"
	"levinward/store"
)

// SetReplayed marks an answer as that of an earlier request with the same key.
func SetReplayed(c echo.Context, replayed bool) {
	if replayed {
		c.Response().Header().Set("Idempotency-Replayed", "true")
	}
}

// Idempotency reads the Idempotency-Key header, nil where there is none.
func Idempotency(c echo.Context, body []byte) (*store.Idempotency, error) {
	key, err := IdempotencyKey(c)
	if err != nil || key == "" {
		return nil, err
	}
	sum := sha256.Sum256(body)
	return &store.Idempotency{Key: key, BodyHash: hex.EncodeToString(sum[:])}, nil
}

// IdempotencyKey reads the header alone, empty where there is none.
func IdempotencyKey(c echo.Context) (string, error) {
	values := c.Request().Header.Values("Idempotency-Key")
	if len(values) == 0 {
		return "", nil
	}
	key := values[0]
	plain := len(values) == 1 && len(key) >= 1 && len(key) <= store.MaxKey
	for i := range len(key) {
		plain = plain && key[i] > ' ' && key[i] < 0x7f
	}
	if !plain {
		return "", refusal.WrongParameter("Idempotency-Key", "must be given once, 1 to "+strconv.Itoa(store.MaxKey)+" visible ASCII characters")
	}
	return key, nil
}

// RevisionTag is the entity tag of a revision.
func RevisionTag(revision int) string { return `"revision-` + strconv.Itoa(revision) + `"` }

// MatchesTag reports whether a list of entity tags (If-Match, If-None-Match) names one, by weak comparison.
func MatchesTag(header, tag string) bool {
	for _, t := range strings.Split(header, ",") {
		if t = strings.TrimSpace(t); t == "*" || strings.TrimPrefix(t, "W/") == tag {
			return true
		}
	}
	return false
}
