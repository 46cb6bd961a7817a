package web_test

import (
	"bytes"
	"errors"
	"regexp"
	"strings"
	"testing"

	"levinward/api/web"
	"levinward/api/wire"
)

// sheet has what a client wrote in every text that can come from one.
func sheet(text string) (*wire.Worksheet, *web.Record) {
	r := &web.Record{Revision: 3, Engine: "test", Cautions: []string{"Earth first."}}
	r.Input.Name, r.Input.Reference = "Site "+text, "R "+text
	return &wire.Worksheet{Edition: "iec-62305-2:2010", Steps: []wire.WorksheetStep{
		{Index: 0, Scope: "/", Symbol: "N_G", Name: "ground flash density", Value: 9.4, Unit: "1/(km2 a)", Clause: "A.1", Provenance: "given", Note: text, Pointer: "/flash_density"},
		{Index: 1, Scope: "/" + text, Symbol: "N_D", Name: "flashes to the structure", Value: 1.0 / 3, Unit: "1/a", Formula: "N_G*A_D*C_D*1e-6", Inputs: []int{0}, Clause: "A.2.4", Provenance: "computed", Row: text},
	}}, r
}

func TestWorksheetPage(t *testing.T) {
	var page bytes.Buffer
	s, r := sheet("of the village")
	if err := web.Worksheet(&page, s, r); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Site of the village", "R of the village", "revision 3", "iec-62305-2:2010", "Earth first.",
		"N_G*A_D*C_D*1e-6", "0.333333", "A.2.4", "9.4", "1/(km2 a)", "2 steps"} {
		if !strings.Contains(page.String(), want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	for _, link := range regexp.MustCompile(`href="#([^"]*)"`).FindAllStringSubmatch(page.String(), -1) {
		if !strings.Contains(page.String(), `id="`+link[1]+`"`) {
			t.Errorf("a link leads to %s, which is nowhere", link[1])
		}
	}
}

// Nothing that a client wrote becomes markup.
func TestWorksheetPageEscapes(t *testing.T) {
	var page bytes.Buffer
	s, r := sheet(`<script>alert(1)</script>" onload="x`)
	if err := web.Worksheet(&page, s, r); err != nil {
		t.Fatal(err)
	}
	if strings.Contains(page.String(), "<script") || strings.Contains(page.String(), `" onload="`) {
		t.Errorf("a text became markup:\n%s", page.String())
	}
}

type full struct{}

var errFull = errors.New("full")

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestWorksheetPageNotWritten(t *testing.T) {
	s, r := sheet("")
	if err := web.Worksheet(full{}, s, r); !errors.Is(err, errFull) {
		t.Errorf("error %v", err)
	}
}
