package ed2_test

import (
	"slices"
	"testing"

	"levinward/risk"
	"levinward/risk/ed2"
	"levinward/risk/trace"
)

// What a worksheet shows of branches that need no value.
func TestRecordedSteps(t *testing.T) {
	in := workshop()
	in.Lines[0].Sections = append(in.Lines[0].Sections, risk.Section{Length: 10}, risk.Section{Length: 20})
	_, sheet := assess(t, in)
	scopes := map[string]bool{}
	symbols := map[string]int{}
	for i := range sheet.Steps {
		scopes[sheet.ScopeName(sheet.Steps[i].Scope)] = true
		symbols[sheet.Steps[i].Quantity.Symbol]++
	}
	for _, name := range []string{"/supply/section-1", "/supply/section-2", "/supply/section-3", "/workshop/hall",
		"/workshop/hall/supply", "/workshop/supply"} {
		if !scopes[name] {
			t.Errorf("no scope %s", name)
		}
	}
	for _, symbol := range []string{"n_t", "n_z", "c_t", "c_a", "H_P", "k_c"} {
		if symbols[symbol] > 0 {
			t.Errorf("%d steps of %s, which was not given", symbols[symbol], symbol)
		}
	}
}

// stepsOf counts the recorded steps of a symbol.
func stepsOf(t *testing.T, in *risk.Input, symbol string) int {
	t.Helper()
	_, sheet := assess(t, in)
	n := 0
	for i := range sheet.Steps {
		if sheet.Steps[i].Quantity.Symbol == symbol {
			n++
		}
	}
	return n
}

// A zone without measures against shock shows the row "no measure", one with measures only theirs.
func TestRecordedShockMeasures(t *testing.T) {
	in := workshop()
	if n := stepsOf(t, in, "P_TA_measure"); n != 1 {
		t.Errorf("%d rows of Table B.1 without a measure, want the first one", n)
	}
	in.Structures[0].Zones[0].StructureShock = risk.WarningNotices | risk.Insulation
	if n := stepsOf(t, in, "P_TA_measure"); n != 2 {
		t.Errorf("%d rows of Table B.1 for two measures", n)
	}
	in.Structures[0].LPS = risk.LPSIFullCover
	if n := stepsOf(t, in, "P_TA_measure"); n != 3 {
		t.Errorf("%d rows of Table B.1 for two measures and a frame", n)
	}
	in.Structures[0].Zones[0].StructureShock = 0
	if n := stepsOf(t, in, "P_TA_measure"); n != 1 {
		t.Errorf("%d rows of Table B.1 for a frame alone", n)
	}
}

// What is not used is not recorded: an inner screen and touch voltages without internal systems, values of heritage where none are given.
func TestUnusedStepsAreLeftOut(t *testing.T) {
	in := workshop()
	in.Structures[0].CulturalHeritage = true
	for _, symbol := range []string{"c_a", "c_z", "c_t"} {
		if n := stepsOf(t, in, symbol); n > 0 {
			t.Errorf("%d steps of %s, which was not given", n, symbol)
		}
	}
	in.Structures[0].Zones[0].Systems = nil
	for _, symbol := range []string{"P_TU", "K_S2"} {
		if n := stepsOf(t, in, symbol); n > 0 {
			t.Errorf("%d steps of %s without an internal system", n, symbol)
		}
	}
}

// Components are named after the risk they belong to: R_1 to R_4.
func TestNamesOfRisks(t *testing.T) {
	found := map[string]bool{}
	for _, q := range (ed2.Edition{}).Quantities() {
		found[q.Symbol+": "+q.Name] = true
	}
	for _, name := range []string{"R_A: component of R_1 in the zone", "R_A: component of R_1 over all zones",
		"R_C: component of R_2 in the zone",
		"R_V: component of R_3 over all zones", "R_Z: component of R_4 in the zone", "R_1: risk of loss_of_human_life in the structure",
		"R_4: risk of loss_of_economic_value in the structure", "R_2_z: risk in the zone"} {
		if !found[name] {
			t.Errorf("no quantity %q", name)
		}
	}
}

// A computation without a worksheet gives the same figures, and so does one with a worksheet used before.
func TestWorksheetChangesNothing(t *testing.T) {
	in := workshop()
	in.Structures[0].PublicSupply = risk.TVTelecom
	with, sheet := assess(t, in)
	without, err := ed2.Edition{}.Assess(in, nil)
	if err != nil {
		t.Fatal(err)
	}
	compareStructure(t, "without a worksheet", &without.Structures[0], &with.Structures[0])
	steps := len(sheet.Steps)
	sheet.Reset()
	if _, err := (ed2.Edition{}).Assess(in, sheet); err != nil || len(sheet.Steps) != steps {
		t.Errorf("%d steps in a worksheet used before, %d in a new one; %v", len(sheet.Steps), steps, err)
	}
	if err := sheet.Check(); err != nil {
		t.Error(err)
	}
}

// The edition's lists are complete and cannot be changed from outside.
func TestLists(t *testing.T) {
	e := ed2.Edition{}
	if e.ID() != "iec-62305-2:2010" {
		t.Errorf("edition %q", e.ID())
	}
	reads := e.Reads()
	reads[0] = "changed"
	if slices.Contains(e.Reads(), "changed") {
		t.Error("the list of fields is shared")
	}
	quantities, tables := map[*trace.Quantity]bool{}, map[*trace.Table]bool{}
	for _, q := range e.Quantities() {
		quantities[q] = true
	}
	for _, table := range e.Tables() {
		tables[table] = true
	}
	_, sheet := assess(t, workshop())
	for i := range sheet.Steps {
		if s := &sheet.Steps[i]; !quantities[s.Quantity] || s.Table != nil && !tables[s.Table] {
			t.Errorf("%s is not listed", s.Quantity.Symbol)
		}
	}
}

// The better of what is there and what a measure brings counts; at one level the lower probability does.
func TestMeasuresNeverTakeAway(t *testing.T) {
	in := workshop() // R_1: U and V follow P_EB, 0.48e-4 for P_EB = 1; A and B 3e-4
	in.Lines[0].BondingSPD = risk.SPD{Level: risk.BetterThanI, Probability: 0.003}
	e := ed2.Edition{}.Evaluator(in, 0)
	for _, c := range []struct {
		spd risk.SPD
		PEB float64
	}{
		{risk.SPD{}, 0.003},
		{risk.SPD{Level: risk.LevelI}, 0.003},
		{risk.SPD{Level: risk.BetterThanI, Probability: 0.005}, 0.003},
		{risk.SPD{Level: risk.BetterThanI, Probability: 0.001}, 0.001},
	} {
		got := e.Risks(&risk.Measures{Ends: []risk.EndMeasures{{Line: 0, Bonding: c.spd}}})[risk.HumanLife]
		compare(t, "R_1", got, 3e-4+c.PEB*0.48e-4)
	}
	in.Lines[0].BondingSPD = risk.SPD{Level: risk.LevelII}
	e = ed2.Edition{}.Evaluator(in, 0)
	got := e.Risks(&risk.Measures{Ends: []risk.EndMeasures{{Line: 0, Bonding: risk.SPD{Level: risk.LevelI}}}})[risk.HumanLife]
	compare(t, "R_1 with a better level", got, 3e-4+0.01*0.48e-4)
	// Measures of another line are not taken for this one's.
	got = e.Risks(&risk.Measures{Ends: []risk.EndMeasures{{Line: 1, Bonding: risk.SPD{Level: risk.LevelI}}}})[risk.HumanLife]
	compare(t, "R_1 with SPDs on another line", got, 3e-4+0.02*0.48e-4)
	s := &in.Structures[0]
	s.LPS, s.Zones[0].FireProtection, s.Zones[0].StructureShock = risk.LPSII, risk.AutomaticFireProtection, risk.Insulation
	e = ed2.Edition{}.Evaluator(in, 0)
	got = e.Risks(&risk.Measures{LPS: risk.LPSIV, FireProtection: risk.ManualFireProtection,
		StructureShock: risk.WarningNotices})[risk.HumanLife]
	compare(t, "R_1 with less than what is there", got, 0.05*1e-4*1e-3+0.05*2e-4*0.2+0.02*(0.16e-4+0.32e-4*0.2))
}
