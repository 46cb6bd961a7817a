package ed2

import (
	"reflect"
	"testing"

	"levinward/risk"
	"levinward/risk/trace"
)

// A reviewed value goes into assessment and evaluator alike; one that agrees changes nothing.
func TestReviewedValues(t *testing.T) {
	in := reviewedSite()
	before, _ := Edition{}.Assess(in, nil)
	agree := trace.NewReviews("agree")
	agree.SetCell(physicalDamage, 0, 0, trace.Review{Value: 1, Agrees: true})
	in.Reviews = agree
	if same, _ := (Edition{}).Assess(in, nil); !reflect.DeepEqual(before, same) {
		t.Error("a value that a reader agrees with changes the result")
	}
	// P_B without LPS at half its value: R_B = N_D P_B L_B halves, R_V does not know P_B.
	half := trace.NewReviews("half")
	half.SetCell(physicalDamage, 0, 0, trace.Review{Value: 0.5})
	in.Reviews = half
	after, _ := Edition{}.Assess(in, nil)
	was, is := &before.Structures[0].Risks[risk.HumanLife], &after.Structures[0].Risks[risk.HumanLife]
	if is.Components[risk.RB] != was.Components[risk.RB]/2 || is.Components[risk.RV] != was.Components[risk.RV] ||
		is.Components[risk.RB] == 0 {
		t.Errorf("R_B %g, before %g; R_V %g, before %g", is.Components[risk.RB], was.Components[risk.RB], is.Components[risk.RV],
			was.Components[risk.RV])
	}
	if got := (Edition{}).Evaluator(in, 0).Risks(&risk.Measures{}); got[risk.HumanLife] != is.Total {
		t.Errorf("the evaluator says %g, the assessment %g", got[risk.HumanLife], is.Total)
	}
}

func reviewedSite() *risk.Input {
	return &risk.Input{Edition: ID, FlashDensity: risk.FlashDensity{NG: 4},
		Structures: []risk.Structure{{ID: "hut", Length: 10, Width: 8, Height: 4, Surroundings: risk.Isolated, Persons: 3,
			Zones: []risk.Zone{{ID: "inside", Persons: 3, Hours: 8760, FireRisk: risk.OrdinaryFireRisk, Systems: []risk.System{{Line: 0}}}}}},
		Lines: []risk.Line{{ID: "supply", To: -1, Withstand: 2.5, Sections: []risk.Section{{Length: 300}}}}}
}
