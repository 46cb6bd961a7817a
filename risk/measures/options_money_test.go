package measures_test

import (
	"testing"

	"levinward/risk/ed2"
	"levinward/risk/measures"
)

// In money the cost comparison decides R_4, which has no limit then: the steps are still parts of what is lost now.
func TestPartialStepsWithoutALimit(t *testing.T) {
	in := valued(post(3))
	in.Costs.Money = true
	before := assess(t, in)
	rec := measures.Recommend(in, &before, ed2.Edition{})
	options, _ := measures.SiteOptionsOf(0, in, &before, &rec, ed2.Edition{}, measures.ExpectedLoss)
	if len(options) != 1 || len(options[0].Options) < 3 || float64(options[0].Options[0].Cost) >= 100*rec.Set.Cost {
		t.Errorf("a set cheaper than the recommended one at %v is missing: %+v", rec.Set.Cost, options)
	}
}
