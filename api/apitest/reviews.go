package apitest

import (
	"bytes"
	"encoding/csv"
	"net/http"
	"slices"
	"testing"
)

// Rows that a reader fills in. The corrected values are invented.
const (
	OfficeLoss   = "iec-62305-2:2010/c.2-c.12/office-for-l1-as-commercial/l_f-l1" // 2e-2 in Table C.2
	ShieldedLine = "iec-62305-2:2010/b.8/shield-bonded-5-r_s-20-ohm-km/2.5-kv"    // 0.95 in Table B.8
	IsolatedSite = "iec-62305-2:2010/a.1/isolated-no-other-objects-in-the-vicinity/c_d"
)

// ReviewedBy fills the table in as a reader does: key, agrees, printed value.
func ReviewedBy(t *testing.T, c *Client, reader string, reviews ...[3]string) []byte {
	t.Helper()
	records, err := csv.NewReader(bytes.NewReader(c.Get("/v1/reference/values.csv").Want(http.StatusOK).Body)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	column := func(name string) int { return slices.Index(records[0], name) }
	for _, r := range reviews {
		i := slices.IndexFunc(records, func(row []string) bool { return row[column("key")] == r[0] })
		if i < 0 {
			t.Fatalf("no row %s", r[0])
		}
		row := records[i]
		row[column("agrees")], row[column("printed_value")], row[column("checked_by")], row[column("date")] = r[1], r[2], reader, "2031-05-16"
	}
	var b bytes.Buffer
	if err := csv.NewWriter(&b).WriteAll(records); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// PutReviews sends the table of a reader.
func PutReviews(c *Client, table []byte, headers ...string) *Answer {
	return c.Do(http.MethodPut, "/v1/reference/reviews", table, append([]string{"Content-Type", "text/csv"}, headers...)...)
}

// ReviewsList is the description of reviews.
type ReviewsList struct {
	Hash, StoredAt    string
	CheckedBy         []string `json:"checked_by"`
	Agreed, Disagreed int
	Counts            struct {
		Values struct{ Checked, Memory, Total int }
	}
	Disagreements []struct {
		Key    string
		Value  float64
		Review struct {
			Printed float64 `json:"printed_value"`
		}
	}
	Outdated []any
}
