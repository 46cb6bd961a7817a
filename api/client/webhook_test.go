package client_test

import (
	"errors"
	"net/http"
	"testing"
	"time"

	"levinward/api/client"
)

// The signature is that of Python's hmac module:
//
//	hmac.new(b"invented secret", b'1936780200.{"delivery":7}', hashlib.sha256).hexdigest()
func TestReadDelivery(t *testing.T) {
	const secret, body, hex = "invented secret", `{"delivery":7}`, "8d5ade5bad515d596cefb1978334294d11e4fbb3bcf2c8ca08223bf16d632f75"
	signed := time.Unix(1936780200, 0)
	for _, c := range []struct {
		name, secret, body, header string
		age                        time.Duration
		accepted                   bool
	}{
		{"good", secret, body, "t=1936780200,v1=" + hex, 0, true},
		{"late", secret, body, "t=1936780200,v1=" + hex, client.MaxDeliveryAge, true},
		{"too late", secret, body, "t=1936780200,v1=" + hex, client.MaxDeliveryAge + time.Second, false},
		{"from the future", secret, body, "t=1936780200,v1=" + hex, -client.MaxDeliveryAge - time.Second, false},
		{"another secret", "other", body, "t=1936780200,v1=" + hex, 0, false},
		{"another body", secret, `{"delivery":8}`, "t=1936780200,v1=" + hex, 0, false},
		{"another time", secret, body, "t=1936780201,v1=" + hex, 0, false},
		{"shortened", secret, body, "t=1936780200,v1=" + hex[:62], 0, false},
		{"not hexadecimal", secret, body, "t=1936780200,v1=" + "x" + hex[1:], 0, false},
		{"no time", secret, body, "v1=" + hex, 0, false},
		{"nothing", secret, body, "", 0, false},
	} {
		m, err := client.ReadDelivery(c.secret, http.Header{"Levinward-Signature": {c.header}}, []byte(c.body), signed.Add(c.age))
		if c.accepted && (err != nil || m.Delivery != 7) || !c.accepted && !errors.Is(err, client.ErrSignature) {
			t.Errorf("%s: %+v, %v", c.name, m, err)
		}
	}
}
