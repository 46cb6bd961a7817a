package main

import (
	"context"
	"io"
	"net/http"
	"path/filepath"
	"testing"
)

// BenchmarkStart measures from the start of serve to its first answer, the file being there.
// Goal: under 0.5 s.
func BenchmarkStart(b *testing.B) {
	file := filepath.Join(b.TempDir(), "existing.db")
	begin := func() {
		ctx, cancel := context.WithCancel(b.Context())
		defer cancel()
		address, done := make(chan string, 1), make(chan int, 1)
		p := program{args: []string{"serve", "-listen", "127.0.0.1:0", "-database", file}, out: io.Discard, errOut: io.Discard,
			env: func(string) string { return "" }, listening: func(a string) { address <- a }}
		go func() { done <- p.run(ctx) }()
		r, err := http.Get("http://" + <-address + "/readyz")
		if err != nil {
			b.Fatal(err)
		}
		r.Body.Close()
		if r.StatusCode != http.StatusOK {
			b.Fatal(r.Status)
		}
		b.StopTimer()
		http.DefaultClient.CloseIdleConnections()
		cancel()
		<-done
		b.StartTimer()
	}
	begin() // makes the file
	for b.Loop() {
		begin()
	}
}
