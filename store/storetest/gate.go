package storetest

import (
	"io"
	"net"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"
)

// Gate stands between a store and its PostgreSQL server, so that a test can
// take the server away. It listens on the loopback interface.
type Gate struct {
	URL string // of the database, through the gate

	network, address string // of the server
	listener         net.Listener

	mu    sync.Mutex
	state gateState
	open  map[net.Conn]bool
}

type gateState int

const (
	passing gateState = iota
	cut               // connections end at once
	silent            // connections stand, nothing comes through
)

// NewGate returns an open gate to the database.
func NewGate(t testing.TB, database string) *Gate {
	t.Helper()
	config, err := pgx.ParseConfig(database)
	if err != nil {
		t.Fatal(err)
	}
	u, err := url.Parse(database)
	if err != nil {
		t.Fatal(err)
	}
	g := &Gate{open: map[net.Conn]bool{}}
	g.network, g.address = serverAddress(config)
	if g.listener, err = net.Listen("tcp", "127.0.0.1:0"); err != nil {
		t.Fatal(err)
	}
	query := u.Query()
	query.Del("host")
	query.Del("port")
	if g.network == "unix" {
		query.Set("sslmode", "disable")
	}
	u.Host, u.RawQuery = g.listener.Addr().String(), query.Encode()
	g.URL = u.String()
	go g.accept()
	t.Cleanup(func() {
		g.listener.Close()
		g.Cut()
	})
	return g
}

// serverAddress is where the server of a configuration listens.
func serverAddress(config *pgx.ConnConfig) (network, address string) {
	port := strconv.Itoa(int(config.Port))
	if strings.HasPrefix(config.Host, "/") {
		return "unix", config.Host + "/.s.PGSQL." + port
	}
	return "tcp", net.JoinHostPort(config.Host, port)
}

// Cut ends all connections and refuses new ones.
func (g *Gate) Cut() { g.set(cut) }

// Silence lets nothing through any more, without ending connections, as a
// broken network does.
func (g *Gate) Silence() { g.set(silent) }

// Restore opens the gate again; connections from before are lost.
func (g *Gate) Restore() {
	g.set(cut)
	g.set(passing)
}

func (g *Gate) set(s gateState) {
	g.mu.Lock()
	defer g.mu.Unlock()
	g.state = s
	if s == cut {
		for conn := range g.open {
			conn.Close()
		}
		clear(g.open)
	}
}

func (g *Gate) accept() {
	for {
		client, err := g.listener.Accept()
		if err != nil {
			return
		}
		server, err := net.Dial(g.network, g.address)
		if err != nil || !g.admit(client, server) {
			client.Close()
			if err == nil {
				server.Close()
			}
			continue
		}
		go g.forward(client, server)
		go g.forward(server, client)
	}
}

// admit takes note of a new pair of connections unless the gate is cut.
func (g *Gate) admit(pair ...net.Conn) bool {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.state == cut {
		return false
	}
	for _, conn := range pair {
		g.open[conn] = true
	}
	return true
}

// forward copies until one side ends, then ends both.
func (g *Gate) forward(from, to net.Conn) {
	io.Copy(to, readerFunc(func(b []byte) (int, error) {
		n, err := from.Read(b)
		if g.now() == silent {
			return 0, err
		}
		return n, err
	}))
	from.Close()
	to.Close()
}

func (g *Gate) now() gateState {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.state
}

type readerFunc func([]byte) (int, error)

func (f readerFunc) Read(b []byte) (int, error) { return f(b) }
