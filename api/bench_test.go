package api_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/labstack/echo/v4"

	"levinward/api/apitest"
	"levinward/api/single"
	"levinward/api/wire"
	"levinward/store"
	"levinward/store/postgres"
	"levinward/store/storetest"
)

// connection sends the same request again and again over one connection and does
// little more than wait for the answer, so that what is measured is the server.
type connection struct {
	conn    net.Conn
	answers *bufio.Reader
	request []byte
}

func dial(address, path string, body []byte) (*connection, error) {
	conn, err := net.Dial("tcp", address)
	if err != nil {
		return nil, err
	}
	request := fmt.Appendf(nil, "POST %s HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\n\r\n", path,
		address, len(body))
	return &connection{conn, bufio.NewReaderSize(conn, 64<<10), append(request, body...)}, nil
}

// send waits for the whole answer and reports its status and length.
func (c *connection) send() (status, length int, err error) {
	if _, err := c.conn.Write(c.request); err != nil {
		return 0, 0, err
	}
	r, err := http.ReadResponse(c.answers, nil)
	if err != nil {
		return 0, 0, err
	}
	n, err := io.Copy(io.Discard, r.Body)
	return r.StatusCode, int(n), err
}

// requests measures how many requests a second a handler answers to eight clients.
func requests(b *testing.B, handler http.Handler, path string, body []byte, want int) {
	server := httptest.NewServer(handler)
	defer server.Close()
	address := strings.TrimPrefix(server.URL, "http://")
	b.SetParallelism(4)
	b.ReportAllocs()
	b.RunParallel(func(pb *testing.PB) {
		c, err := dial(address, path, body)
		if err != nil {
			b.Error(err)
			return
		}
		defer c.conn.Close()
		for pb.Next() {
			if status, length, err := c.send(); err != nil || status != want || length < 1000 {
				b.Errorf("status %d, %d bytes, %v", status, length, err)
				return
			}
		}
	})
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "req/s")
}

// documents are the bodies of one stored assessment: what was sent, what was
// answered and what was kept.
type documents struct {
	body      []byte
	result    *wire.Result
	record    store.Record
	worksheet []byte
}

func storedDocuments(b *testing.B) documents {
	d := documents{body: apitest.Demo(b)}
	s := apitest.OpenSQLite(b)
	w := httptest.NewRecorder()
	r := httptest.NewRequest(http.MethodPost, "/v1/assessments", bytes.NewReader(d.body))
	r.Header.Set("Content-Type", "application/json")
	apitest.NewServer(b, s).ServeHTTP(w, r)
	if w.Code != http.StatusCreated {
		b.Fatal(w.Body)
	}
	page, err := s.List(b.Context(), store.Local, store.Filter{})
	if err != nil {
		b.Fatal(err)
	}
	id := page.Entries[0].ID
	if d.record, err = s.Newest(b.Context(), store.Local, id); err != nil {
		b.Fatal(err)
	}
	if d.worksheet, err = s.Worksheet(b.Context(), store.Local, id, 1); err != nil {
		b.Fatal(err)
	}
	if d.result, err = single.Compute(d.body, apitest.Engine, nil, nil, nil); err != nil {
		b.Fatal(err)
	}
	return d
}

// bare decodes the same input, does what it is given to do and encodes the same result.
func bare(path string, status int, result *wire.Result, work func(echo.Context) error) http.Handler {
	e := echo.New()
	e.POST(path, func(c echo.Context) error {
		var in wire.Input
		if err := json.NewDecoder(c.Request().Body).Decode(&in); err != nil {
			return err
		}
		if err := work(c); err != nil {
			return err
		}
		return c.JSON(status, result)
	})
	return e
}

// BenchmarkCalculations stands beside its floor: a handler of the same framework that decodes and
// encodes the same two documents and computes nothing. Goal: 70 % of its requests per second.
func BenchmarkCalculations(b *testing.B) {
	const path = "/v1/calculations"
	d := storedDocuments(b)
	b.Run("service", func(b *testing.B) {
		requests(b, apitest.NewServer(b, apitest.OpenSQLite(b)), path, d.body, http.StatusOK)
	})
	b.Run("floor, decode and encode", func(b *testing.B) {
		requests(b, bare(path, http.StatusOK, d.result, func(echo.Context) error { return nil }), path, d.body, http.StatusOK)
	})
}

// BenchmarkAssessments stands beside its floor: a handler that decodes, does one INSERT of the same bytes into a table
// with nothing but a key, and encodes. Goal: 60 % of its requests per second.
func BenchmarkAssessments(b *testing.B) {
	const path = "/v1/assessments"
	d := storedDocuments(b)
	database := storetest.Postgres(b)
	s, err := postgres.Open(b.Context(), database, apitest.Migrations(b, "postgres"))
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	config, err := pgxpool.ParseConfig(database)
	if err != nil {
		b.Fatal(err)
	}
	config.MaxConns = 16 // as many as the store takes
	pool, err := pgxpool.NewWithConfig(b.Context(), config)
	if err != nil {
		b.Fatal(err)
	}
	defer pool.Close()
	if _, err := pool.Exec(
		b.Context(), `CREATE TABLE bare (id uuid PRIMARY KEY, input bytea COMPRESSION lz4, result bytea COMPRESSION lz4, worksheet bytea COMPRESSION lz4)`); err != nil {
		b.Fatal(err)
	}
	b.Run("service", func(b *testing.B) {
		requests(b, apitest.NewServer(b, s), path, d.body, http.StatusCreated)
	})
	b.Run("floor, decode, insert and encode", func(b *testing.B) {
		insert := func(c echo.Context) error {
			id, err := uuid.NewV7()
			if err != nil {
				return err
			}
			_, err = pool.Exec(c.Request().Context(), `INSERT INTO bare (id, input, result, worksheet) VALUES ($1, $2, $3, $4)`,
				id, d.record.Input, d.record.Result, d.worksheet)
			return err
		}
		requests(b, bare(path, http.StatusCreated, d.result, insert), path, d.body, http.StatusCreated)
	})
}

// BenchmarkDrawnStructure stands beside its floor: the smallest request, whose structure is a box, and the same
// structure drawn as a polygon. Goal: drawing it costs no more than a tenth of the requests per second.
func BenchmarkDrawnStructure(b *testing.B) {
	const path = "/v1/calculations"
	drawn := apitest.Changed(b, apitest.Smallest(b),
		map[string]any{"/structures/0": map[string]any{"id": "post", "parts": []any{apitest.Part(5.5, "Polygon", []apitest.Positions{
			{{86.68292, -3.11704}, {86.68308, -3.11704}, {86.68308, -3.11696}, {86.68292, -3.11696}, {86.68292, -3.11704}},
		})}}})
	b.Run("box", func(b *testing.B) {
		requests(b, apitest.NewServer(b, apitest.OpenSQLite(b)), path, apitest.Smallest(b), http.StatusOK)
	})
	b.Run("parts", func(b *testing.B) {
		requests(b, apitest.NewServer(b, apitest.OpenSQLite(b)), path, drawn, http.StatusOK)
	})
}

// BenchmarkMaps answers a calculation whose N_G comes from a map beside the same one with N_G given.
func BenchmarkMaps(b *testing.B) {
	server := apitest.NewServer(b, apitest.OpenSQLite(b))
	w := httptest.NewRecorder()
	r := httptest.NewRequest(http.MethodPost, apitest.MapQuery(), bytes.NewReader(apitest.DensityFile(b, "invented.asc")))
	r.Header.Set("Content-Type", "text/plain")
	server.ServeHTTP(w, r)
	var m apitest.Map
	if err := json.Unmarshal(w.Body.Bytes(), &m); err != nil {
		b.Fatal(err)
	}
	b.Run("N_G from a map", func(b *testing.B) {
		requests(b, server, "/v1/calculations", apitest.Mapped(b, m.ID, 11.375, 0.125), http.StatusOK)
	})
	b.Run("floor, N_G given", func(b *testing.B) { requests(b, server, "/v1/calculations", apitest.Smallest(b), http.StatusOK) })
}
