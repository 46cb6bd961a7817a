package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"levinward/api/apitest"
	"levinward/store/storetest"
)

// asProgram makes the test binary run as the program itself.
const asProgram = "LEVINWARD_TEST_RUN_MAIN"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main() // ends the process
	}
	storetest.Main(m)
}

// command runs the program to its end.
func command(t testing.TB, in string, args ...string) (status int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	p := program{args: args, in: strings.NewReader(in), out: &o, errOut: &e, env: func(string) string { return "" }}
	status = p.run(t.Context())
	return status, o.String(), e.String()
}

// service is a running program.
type service struct {
	*apitest.Client
	address string
	stop    context.CancelFunc // as SIGTERM does
	done    chan struct{}
	status  int
	log     lockedBuffer
}

type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// serve starts the whole service on a free port.
func serve(t *testing.T, env map[string]string, args ...string) *service {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	s := &service{stop: cancel, done: make(chan struct{})}
	listening := make(chan string, 1)
	p := program{
		args: append([]string{"serve"}, args...), in: strings.NewReader(""), out: &s.log, errOut: &s.log,
		env: func(name string) string { return env[name] }, listening: func(address string) { listening <- address },
	}
	go func() {
		defer close(s.done)
		s.status = p.run(ctx)
	}()
	t.Cleanup(func() { cancel(); <-s.done })
	select {
	case s.address = <-listening:
	case <-s.done:
		t.Fatalf("serve ended with %d: %s", s.status, s.log.String())
	}
	s.Client = apitest.New(t, "http://"+s.address, openAPI)
	return s
}

// wait waits for the end and returns the exit status.
func (s *service) wait(t *testing.T) int {
	t.Helper()
	select {
	case <-s.done:
	case <-time.After(5 * time.Minute):
		t.Fatal("the service does not stop")
	}
	return s.status
}

func demo(t testing.TB) []byte {
	t.Helper()
	b, err := os.ReadFile("testdata/demo/health-post.json")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// databases are the two ways to keep records: a file not there yet, and an empty database.
func databases(t *testing.T, test func(t *testing.T, dsn string)) {
	t.Run("SQLite", func(t *testing.T) { test(t, filepath.Join(t.TempDir(), "site.db")) })
	t.Run("PostgreSQL", func(t *testing.T) { test(t, storetest.Postgres(t)) })
}

// id reads the id of a stored record.
func id(t *testing.T, a *apitest.Answer) string {
	t.Helper()
	var r struct{ ID string }
	a.JSON(&r)
	if r.ID == "" {
		t.Fatalf("no id in %.200s", a.Body)
	}
	return r.ID
}

// What was stored is there after the service was stopped and started again.
func TestServe(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		if !strings.Contains(s.log.String(), "http://"+s.address) {
			t.Errorf("it does not say where it listens: %s", s.log.String())
		}
		s.Get("/healthz").Want(http.StatusOK)
		s.Get("/readyz").Want(http.StatusOK)
		s.Post("/v1/calculations", demo(t)).Want(http.StatusOK)
		stored := s.Post("/v1/assessments", demo(t)).Want(http.StatusCreated)
		at := "/v1/assessments/" + id(t, stored)
		sheet := s.Get(at + "/worksheet").Want(http.StatusOK)
		s.stop()
		if status := s.wait(t); status != exitOK {
			t.Errorf("stopped with status %d: %s", status, s.log.String())
		}

		s = serve(t, map[string]string{"LEVINWARD_LISTEN": "127.0.0.1:0", "LEVINWARD_DATABASE": dsn})
		if !bytes.Equal(s.Get(at).Want(http.StatusOK).Body, stored.Body) || !bytes.Equal(s.Get(at+"/worksheet").Want(http.StatusOK).Body, sheet.Body) {
			t.Error("after a restart the record is another one")
		}
		s.Patch(at+"/revisions", `{"reference": "second"}`).Want(http.StatusCreated)
		s.Delete(at).Want(http.StatusNoContent)
	})
}

// Two services on one database see the same records.
func TestReplicas(t *testing.T) {
	dsn := storetest.Postgres(t)
	one := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
	two := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
	a := one.Post("/v1/assessments", demo(t), "Idempotency-Key", "k").Want(http.StatusCreated)
	at := "/v1/assessments/" + id(t, a)
	if b := two.Post("/v1/assessments", demo(t), "Idempotency-Key", "k").Want(http.StatusCreated); !bytes.Equal(a.Body, b.Body) {
		t.Error("the other replica stored it again")
	}
	two.Patch(at+"/revisions", `{"name": "by the other"}`).Want(http.StatusCreated)
	one.Patch(at+"/revisions", `{"name": "late"}`, "If-Match", a.Header.Get("ETag")).Want(http.StatusPreconditionFailed)
	one.Get(at + "/worksheet").Want(http.StatusOK)
}

// slowPost sends the head and half of a body, and the rest when told to.
type slowPost struct {
	conn net.Conn
	rest []byte
}

func beginPost(t *testing.T, address, path string, body []byte) *slowPost {
	t.Helper()
	conn, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: %s\r\nContent-Type: application/json\r\nContent-Length: %d\r\nExpect: 100-continue\r\n\r\n", path, address, len(body))
	// The handler asks for the body: the request is running.
	if line, err := bufio.NewReader(conn).ReadString('\n'); err != nil || !strings.Contains(line, "100 Continue") {
		t.Fatalf("%q, %v", line, err)
	}
	half := len(body) / 2
	if _, err := conn.Write(body[:half]); err != nil {
		t.Fatal(err)
	}
	return &slowPost{conn, body[half:]}
}

func (s *slowPost) finish(t *testing.T) (status int, body []byte) {
	t.Helper()
	if _, err := s.conn.Write(s.rest); err != nil {
		t.Fatal(err)
	}
	r := bufio.NewReader(s.conn)
	answer, err := http.ReadResponse(r, nil)
	for err == nil && answer.StatusCode == http.StatusContinue {
		answer, err = http.ReadResponse(r, nil)
	}
	if err != nil {
		t.Fatal(err)
	}
	body, err = io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, body
}

// A request that runs when the service is told to stop is answered and stored
// as a whole; one whose body never comes leaves nothing.
func TestStopFinishesRunningRequests(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		s := serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		slow := beginPost(t, s.address, "/v1/assessments", demo(t))
		given := beginPost(t, s.address, "/v1/assessments", demo(t))
		s.stop()
		awaitRefusal(s.address)
		given.conn.Close()
		status, body := slow.finish(t)
		if status != http.StatusCreated {
			t.Fatalf("status %d: %s", status, body)
		}
		if status := s.wait(t); status != exitOK {
			t.Errorf("stopped with status %d: %s", status, s.log.String())
		}
		var stored struct{ ID string }
		if err := json.Unmarshal(body, &stored); err != nil {
			t.Fatal(err)
		}
		s = serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn)
		if got := s.Get("/v1/assessments/" + stored.ID).Want(http.StatusOK); !bytes.Equal(got.Body, body) {
			t.Error("what was answered is not what was stored")
		}
		s.Get("/v1/assessments/" + stored.ID + "/worksheet").Want(http.StatusOK)
		var list struct{ Assessments []struct{ ID string } }
		s.Get("/v1/assessments").Want(http.StatusOK).JSON(&list)
		if len(list.Assessments) != 1 {
			t.Errorf("%d stored, want 1", len(list.Assessments))
		}
	})
}

// A process of its own hears SIGTERM, finishes the request it is at and ends with 0.
func TestSIGTERM(t *testing.T) {
	file := filepath.Join(t.TempDir(), "site.db")
	process := exec.CommandContext(t.Context(), os.Args[0], "serve", "-listen", "127.0.0.1:0", "-database", file)
	process.Env = append(os.Environ(), asProgram+"=1")
	log, err := process.StderrPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := process.Start(); err != nil {
		t.Fatal(err)
	}
	line, err := bufio.NewReader(log).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	address := strings.TrimSpace(line[strings.LastIndex(line, "/")+1:])
	slow := beginPost(t, address, "/v1/assessments", demo(t))
	if err := process.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	awaitRefusal(address)
	if status, body := slow.finish(t); status != http.StatusCreated {
		t.Errorf("status %d: %s", status, body)
	}
	if err := process.Wait(); err != nil {
		t.Errorf("ended with %v", err)
	}
}

// awaitRefusal waits until no new connection is taken.
func awaitRefusal(address string) {
	for {
		conn, err := net.DialTimeout("tcp", address, time.Second)
		if err != nil {
			return
		}
		conn.Close()
		time.Sleep(time.Millisecond)
	}
}

func TestMigrate(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		status, out, errOut := command(t, "", "migrate", "-database", dsn)
		if status != exitOK || !strings.Contains(out, "00001_assessments.sql") {
			t.Errorf("status %d: %s%s", status, out, errOut)
		}
		if status, out, _ := command(t, "", "migrate", "-database", dsn); status != exitOK || strings.Contains(out, ".sql") {
			t.Errorf("again: status %d: %s", status, out)
		}
		serve(t, nil, "-listen", "127.0.0.1:0", "-database", dsn).Get("/readyz").Want(http.StatusOK)
	})
}

func TestCommandLine(t *testing.T) {
	folder := t.TempDir()
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	for _, test := range []struct {
		args   string
		status int
	}{
		{"", exitUsage}, {"fly", exitUsage}, {"serve -port 80", exitUsage}, {"serve more", exitUsage}, {"assess", exitUsage}, {"assess a b", exitUsage}, {"migrate x", exitUsage},
		{"version", exitOK}, {"help", exitOK}, {"serve -h", exitOK}, {"assess -h", exitOK},
		{"assess " + filepath.Join(folder, "none.json"), exitFault},
		{"serve -listen " + taken.Addr().String() + " -database " + filepath.Join(folder, "a.db"), exitFault},
		{"serve -listen 127.0.0.1:0 -database " + filepath.Join(folder, "no", "folder", "a.db"), exitFault},
		{"serve -listen 127.0.0.1:0 -database postgres://127.0.0.1:1/none?connect_timeout=1", exitFault},
		{"migrate -database " + folder, exitFault},
	} {
		status, out, errOut := command(t, "", strings.Fields(test.args)...)
		if status != test.status {
			t.Errorf("%q: status %d, want %d: %s%s", test.args, status, test.status, out, errOut)
		}
		if status != exitOK && strings.TrimSpace(errOut) == "" {
			t.Errorf("%q: no reason is given", test.args)
		}
		if strings.Contains(errOut, "goroutine") {
			t.Errorf("%q: %s", test.args, errOut)
		}
	}
	if _, out, _ := command(t, "", "version"); !strings.Contains(out, version) {
		t.Errorf("version is %q", out)
	}
}

func decode(t testing.TB, text string, into any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), into); err != nil {
		t.Fatal(err)
	}
}

func equal(a, b any) bool { return reflect.DeepEqual(a, b) }
