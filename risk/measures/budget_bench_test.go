package measures

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// portfolio makes invented sites of six options each. A kind is how savings go with costs.
func portfolio(sites int, kind string) []SiteOptions {
	random := rand.New(rand.NewPCG(1, 2))
	all := make([]SiteOptions, sites)
	for i := range all {
		all[i] = SiteOptions{Site: i, Options: make([]Option, 6)}
		worth := math.Exp(6 * random.Float64())
		for j := range all[i].Options {
			o := &all[i].Options[j]
			o.Cost = 1 + random.Int64N(1_000_000)
			switch kind {
			case "unrelated":
				o.Saved = 10_000 * random.Float64()
			case "diminishing": // each further measure saves less of what is left
				o.Cost = int64(j+1) * (5_000 + random.Int64N(60_000))
				o.Saved = worth * (1 - math.Pow(0.2+0.5*random.Float64(), float64(j+1)))
			case "alike": // presets: every site is one of 20
				x := rand.New(rand.NewPCG(uint64(i%20), uint64(j)))
				o.Cost, o.Saved = int64(j+1)*(5_000+x.Int64N(60_000)), 100*(1-math.Pow(0.2+0.5*x.Float64(), float64(j+1)))
			case "proportional": // the hardest: saving follows cost
				o.Saved = float64(o.Cost) + 1000
			case "persons":
				o.Cost -= o.Cost % 500
				o.Saved = float64(1 + random.IntN(60))
			}
		}
		if kind == "persons" {
			all[i].Options = all[i].Options[:1]
		}
	}
	return all
}

var kinds = []string{"unrelated", "diminishing", "alike", "proportional", "persons"}

// afford is a budget for a share of the sites' dearest options.
func afford(sites []SiteOptions, share float64) int64 {
	total := 0.0
	for i := range sites {
		most := int64(0)
		for _, o := range sites[i].Options {
			most = max(most, o.Cost)
		}
		total += float64(most)
	}
	return int64(share * total)
}

func BenchmarkSpend(b *testing.B) {
	for _, n := range []int{100, 1000, 100_000} {
		for _, kind := range kinds {
			sites := portfolio(n, kind)
			budget := afford(sites, 0.2)
			b.Run(fmt.Sprintf("%d/%s", n, kind), func(b *testing.B) {
				b.ReportAllocs()
				var p Plan
				for b.Loop() {
					p = Spend(budget, sites, DefaultEffort)
				}
				b.ReportMetric(p.Gap(), "gap-%")
				if p.Exact {
					b.ReportMetric(1, "exact")
				}
			})
		}
	}
}

// BenchmarkSpendFloor sorts the same options by saving per cost, which every way of choosing does at least.
func BenchmarkSpendFloor(b *testing.B) {
	var options []Option
	for _, s := range portfolio(100_000, "diminishing") {
		options = append(options, s.Options...)
	}
	b.ReportAllocs()
	for b.Loop() {
		sorted := slices.Clone(options)
		slices.SortFunc(sorted, func(x, y Option) int {
			return cmp.Compare(y.Saved/float64(y.Cost), x.Saved/float64(x.Cost))
		})
	}
}
