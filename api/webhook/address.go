package webhook

import (
	"errors"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strings"
	"syscall"
	"time"

	"levinward/store"
)

// CheckAddress says what is wrong with the address of a webhook; empty if nothing
// is. Without private, only https to public addresses is allowed.
func CheckAddress(text string, private bool) string {
	const allowed = "must be an address like https://quotes.example/told"
	u, err := url.Parse(text)
	switch {
	case err != nil || u.Opaque != "" || u.Hostname() == "" || strings.ContainsFunc(text, func(r rune) bool { return r <= ' ' || r >= 0x7f }):
		return allowed
	case len(text) > store.MaxAddress:
		return allowed + " of at most 2000 characters"
	case u.User != nil:
		return allowed + ", without user and password"
	case u.Fragment != "" || strings.HasSuffix(text, "#"):
		return allowed + ", without fragment"
	case u.Scheme == "http" && !private:
		return allowed + "; http is allowed only where the service was started with -allow-private-webhooks"
	case u.Scheme != "https" && u.Scheme != "http":
		return allowed
	}
	if private {
		return ""
	}
	host := strings.TrimSuffix(strings.ToLower(u.Hostname()), ".")
	if a, err := netip.ParseAddr(host); err == nil && !public(a) || host == "localhost" || strings.HasSuffix(host, ".localhost") {
		return "must be a public address; others are allowed only where the service was started with -allow-private-webhooks"
	}
	return ""
}

// special are blocks that are not, or not only, of the public Internet, beyond those that
// netip knows (IANA special-purpose address registries, RFC 6890; from memory).
var special = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"),
	netip.MustParsePrefix("100.64.0.0/10"),   // shared by customers of a provider, RFC 6598
	netip.MustParsePrefix("192.0.0.0/24"),    // protocol assignments
	netip.MustParsePrefix("192.0.2.0/24"),    // documentation
	netip.MustParsePrefix("192.88.99.0/24"),  // relays
	netip.MustParsePrefix("198.18.0.0/15"),   // benchmarks
	netip.MustParsePrefix("198.51.100.0/24"), // documentation
	netip.MustParsePrefix("203.0.113.0/24"),  // documentation
	netip.MustParsePrefix("240.0.0.0/4"),     // reserved, and broadcast
	netip.MustParsePrefix("::/96"),           // IPv4 in IPv6, in several forms
	netip.MustParsePrefix("64:ff9b::/96"),
	netip.MustParsePrefix("64:ff9b:1::/48"),
	netip.MustParsePrefix("100::/64"),  // discard
	netip.MustParsePrefix("2001::/23"), // protocol assignments, tunnels
	netip.MustParsePrefix("2001:db8::/32"),
	netip.MustParsePrefix("2002::/16"),
	netip.MustParsePrefix("3fff::/20"), // documentation
	netip.MustParsePrefix("5f00::/16"), // segment routing
	netip.MustParsePrefix("fec0::/10"),
}

// public reports that an address is one of the public Internet.
func public(a netip.Addr) bool {
	a = a.Unmap().WithZone("")
	if !a.IsGlobalUnicast() || a.IsPrivate() {
		return false
	}
	for _, p := range special {
		if p.Contains(a) {
			return false
		}
	}
	return true
}

// ErrNotPublic: the name of a webhook's host leads to an address that is not public.
var ErrNotPublic = errors.New("the address is not public")

// timeout of one attempt, from looking up the name to the end of the answer.
const timeout = 10 * time.Second

// newClient makes what deliveries are sent with. Without private it connects to public
// addresses only, whatever a name leads to at that moment. Redirects are not followed.
func newClient(private bool) *http.Client {
	dialer := &net.Dialer{Timeout: timeout}
	if !private {
		dialer.Control = func(_, address string, _ syscall.RawConn) error {
			a, err := netip.ParseAddrPort(address)
			if err != nil || !public(a.Addr()) {
				return ErrNotPublic
			}
			return nil
		}
	}
	return &http.Client{
		Timeout: timeout,
		Transport: &http.Transport{
			DialContext: dialer.DialContext, ForceAttemptHTTP2: true, TLSHandshakeTimeout: timeout,
			MaxIdleConnsPerHost: perReceiver, IdleConnTimeout: time.Minute, MaxResponseHeaderBytes: 64 << 10, DisableCompression: true,
		},
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}
}
