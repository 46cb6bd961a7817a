package main

import (
	"io"
	"log/slog"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"levinward/api"
	"levinward/api/batch"
	"levinward/api/jobs"
	"levinward/store"
)

// An import by command ends although a service that had claimed a part of it died.
func TestImportTakesUpWhatTheDeadClaimed(t *testing.T) {
	databases(t, func(t *testing.T, dsn string) {
		db, err := openStore(t.Context(), dsn)
		if err != nil {
			t.Fatal(err)
		}
		defer db.Close()
		j, err := api.NewJobs(api.Config{Store: db, Engine: engine, Log: slog.New(slog.DiscardHandler)})
		if err != nil {
			t.Fatal(err)
		}
		p, err := db.CreatePortfolio(t.Context(), store.Local, store.Portfolio{ID: uuid.NewString(), CreatedAt: time.Now(), Name: "P"})
		if err != nil {
			t.Fatal(err)
		}
		file := "reference,name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m\nA,Invented site,1,2,4,9,8,5\n"
		im := jobs.Import{Portfolio: p.ID, Mode: store.GoodRowsOnly, File: batch.Options{Format: batch.CSV}}
		w, _, err := j.Import(t.Context(), im, strings.NewReader(file))
		if err != nil {
			t.Fatal(err)
		}
		now := time.Now()
		if dead, err := db.ClaimChunks(t.Context(), store.Local, w.ID, now, now.Add(time.Second), 1); err != nil || len(dead) != 1 {
			t.Fatal(dead, err)
		}
		run := importRun{store: db, jobs: j, out: io.Discard, meter: &meter{to: io.Discard, every: 50 * time.Millisecond}}
		if w, err = run.work(t.Context(), w.ID); err != nil || w.State != store.WorkDone || w.Done != 1 {
			t.Errorf("%+v, %v", w, err)
		}
	})
}
