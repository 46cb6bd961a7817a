package storetest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
)

// Cluster is a throw-away PostgreSQL server that listens on a Unix socket in
// its own folder and does not wait for the disk.
type Cluster struct {
	bin    string // folder of initdb and postgres
	dir    string // data and socket
	server *exec.Cmd
	leash  io.WriteCloser // the server stops when it is closed, or when this process ends
}

// NewCluster starts a cluster for one test that wants to stop it. It skips or
// fails like Postgres where the programs are not installed.
func NewCluster(t testing.TB) *Cluster {
	t.Helper()
	c, err := newCluster()
	if err != nil {
		missing(t, err)
	}
	t.Cleanup(c.remove)
	return c
}

// URL is the address of the cluster's first database.
func (c *Cluster) URL() string {
	return "postgres://levinward@/postgres?" + url.Values{"host": {c.dir}}.Encode()
}

// Start starts the stopped server and waits until it answers.
func (c *Cluster) Start() error {
	// The shell keeps the server on a leash: read ends with the input, even
	// if this process is killed. The folder stays only if it is told to keep it.
	const script = `"$0" "$@" & server=$!; read -r keep; kill -INT $server; wait $server; test "$keep" || rm -rf "$PWD"`
	cmd := c.command("/bin/sh", "-c", script, filepath.Join(c.bin, "postgres"), "-D", c.dir, "-k", c.dir,
		"-c", "listen_addresses=", "-c", "fsync=off", "-c", "full_page_writes=off", "-c", "max_connections=200")
	log, err := os.OpenFile(c.log(), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd.Stdout, cmd.Stderr = log, log
	if c.leash, err = cmd.StdinPipe(); err != nil {
		return err
	}
	if err := cmd.Start(); err != nil {
		return err
	}
	c.server = cmd
	return c.await()
}

// Stop ends the server at once; running statements are broken off.
func (c *Cluster) Stop() {
	io.WriteString(c.leash, "keep\n")
	c.end()
}

func (c *Cluster) end() {
	if c.server == nil {
		return
	}
	c.leash.Close()
	c.server.Wait() // its status says that it was interrupted
}

func newCluster() (*Cluster, error) {
	bin, err := findPrograms()
	if err != nil {
		return nil, err
	}
	// Not in the test's folder, which is closed to other users.
	dir, err := os.MkdirTemp("", "levinward-pg-")
	if err != nil {
		return nil, err
	}
	c := &Cluster{bin: bin, dir: dir}
	if err := c.create(); err != nil {
		os.RemoveAll(dir)
		return nil, err
	}
	if err := c.Start(); err != nil {
		c.remove()
		return nil, err
	}
	return c, nil
}

func (c *Cluster) create() error {
	if err := giveAway(c.dir); err != nil {
		return err
	}
	out, err := c.command(filepath.Join(c.bin, "initdb"), "-D", c.dir, "-U", "levinward", "--auth=trust",
		"--encoding=UTF8", "--locale=C", "--no-sync").CombinedOutput()
	if err != nil {
		return fmt.Errorf("initdb: %w\n%s", err, out)
	}
	return nil
}

// command prepares a program to run as the user who may own a cluster.
func (c *Cluster) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(name, args...)
	cmd.Dir = c.dir
	cmd.SysProcAttr = asOwner()
	return cmd
}

func (c *Cluster) await() error {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	for {
		conn, err := pgx.Connect(ctx, c.URL())
		if err == nil {
			return conn.Close(ctx)
		}
		select {
		case <-ctx.Done():
			log, _ := os.ReadFile(c.log())
			return fmt.Errorf("the server does not start: %w\n%s", err, log)
		case <-time.After(20 * time.Millisecond):
		}
	}
}

func (c *Cluster) remove() {
	c.end()
	os.RemoveAll(c.dir)
}

func (c *Cluster) log() string { return filepath.Join(c.dir, "levinward.log") }

// findPrograms returns the folder of the newest installed initdb and postgres.
func findPrograms() (string, error) {
	folders, _ := filepath.Glob("/usr/lib/postgresql/*/bin")
	slices.SortFunc(folders, func(a, b string) int { // newest first: 15 before 9.6
		return cmp.Or(len(b)-len(a), strings.Compare(b, a))
	})
	for _, name := range []string{"postgres", "initdb"} {
		if path, err := exec.LookPath(name); err == nil {
			folders = append(folders, filepath.Dir(path))
		}
	}
	for _, folder := range folders {
		_, err1 := exec.LookPath(filepath.Join(folder, "postgres"))
		_, err2 := exec.LookPath(filepath.Join(folder, "initdb"))
		if err1 == nil && err2 == nil {
			return folder, nil
		}
	}
	return "", errors.New("initdb and postgres are not installed and LEVINWARD_TEST_POSTGRES is not set")
}
