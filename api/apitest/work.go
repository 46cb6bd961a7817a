package apitest

import (
	"fmt"
	"net/http"
	"strings"
	"testing"
	"time"
)

// Portfolio is what tests look for in a portfolio.
type Portfolio struct {
	ID, Name, Description string
	Totals                struct {
		Sites         int
		NotAcceptable int `json:"not_acceptable"`
	}
}

// Work is what tests look for in a work.
type Work struct {
	ID, Kind, State                string
	Total, Done, Failed, Unchanged int
}

// Sites is a page of the sites of a portfolio.
type Sites struct {
	Sites []struct {
		Assessment, Reference, Name, Engine string
		Revision                            int
		WorstRatio                          float64 `json:"worst_ratio"`
		Acceptable                          bool
	}
}

// MakePortfolio makes an empty portfolio.
func MakePortfolio(c *Client, name string) Portfolio {
	var p Portfolio
	c.Post("/v1/portfolios", fmt.Appendf(nil, `{"name": %q}`, name)).Want(http.StatusCreated).JSON(&p)
	return p
}

// SiteFile is a file of n invented sites, the first of them with the number from.
func SiteFile(from, n int, height float64) []byte {
	var f strings.Builder
	f.WriteString("reference,name,latitude,longitude,ground_flashes_per_km2_year,flash_density_year,length_m,width_m,height_m,persons\n")
	for i := from; i < from+n; i++ {
		fmt.Fprintf(&f, "S%d,Invented site %d,%d,%d,%.1f,2020,%d,8,%g,6\n", i, i, i%80, i%170, 0.5+float64(i%9), 8+i%30, height)
	}
	return []byte(f.String())
}

// ImportFile sends a table of sites.
func ImportFile(c *Client, portfolio, query string, file []byte) *Answer {
	return c.Do(http.MethodPost, "/v1/portfolios/"+portfolio+"/imports"+query, file, "Content-Type", "text/csv")
}

// Ended waits for the end of the work in an answer.
func Ended(t *testing.T, c *Client, a *Answer) Work {
	t.Helper()
	at := a.Want(http.StatusAccepted).Header.Get("Location")
	for end := time.Now().Add(5 * time.Minute); time.Now().Before(end); time.Sleep(10 * time.Millisecond) {
		var w Work
		c.Get(at).Want(http.StatusOK).JSON(&w)
		if w.Done+w.Failed+w.Unchanged > w.Total {
			t.Fatalf("counts do not add up: %+v", w)
		}
		if w.State == "done" || w.State == "cancelled" || w.State == "refused" {
			return w
		}
	}
	t.Fatal("the work does not end")
	return Work{}
}

// SitesOf reads a page of the sites of a portfolio.
func SitesOf(c *Client, portfolio, query string) Sites {
	var s Sites
	c.Get("/v1/portfolios/" + portfolio + "/sites" + query).Want(http.StatusOK).JSON(&s)
	return s
}
