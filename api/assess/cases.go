package assess

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"levinward/api/wire"
)

// Case is a worked example with its printed results.
type Case struct {
	Title, Origin string
	Input         json.RawMessage
	// Published are printed values by their path in the result, with ids for entries of lists.
	Published map[string]json.Number
	units     units
}

// units is how exactly the values of a case were printed.
type units struct {
	wholeLastDigit bool    // the last digit may differ by one, otherwise by a half
	risk           float64 // unit of components and zone totals printed with fixed decimals; 0 where figures count
}

// caseFile is a case, or several variants of one, as a data file.
type caseFile struct {
	Title     string                 `json:"title"`
	Origin    string                 `json:"origin"`
	Digits    any                    `json:"published_digits"`
	Input     json.RawMessage        `json:"input"`
	Published map[string]json.Number `json:"published"`
	Cost      *struct {
		Value json.Number `json:"c_t"`
		Loss  json.Number `json:"C_L"`
	} `json:"published_cost_of_loss"`
	Variants []struct {
		Input     json.RawMessage        `json:"input"`
		Published map[string]json.Number `json:"published"`
	} `json:"variants"`
}

// ParseCases reads a file of worked examples; isCase is false where the text is something else.
func ParseCases(text []byte) (cases []Case, isCase bool, err error) {
	var f caseFile
	if json.Unmarshal(text, &f) != nil || f.Origin == "" || f.Published == nil && f.Variants == nil {
		return nil, false, nil
	}
	digits := fmt.Sprint(f.Digits)
	u := units{wholeLastDigit: strings.Contains(digits, "may differ by one")}
	if strings.Contains(digits, "three decimals of 1e-5") {
		u.risk = 1e-8
	}
	if f.Input != nil {
		c := Case{f.Title, f.Origin, f.Input, f.Published, u}
		if f.Cost != nil {
			var in wire.Input
			if err := json.Unmarshal(f.Input, &in); err != nil || len(in.Structures) == 0 {
				return nil, true, errors.New("the case has a cost of loss but no structure")
			}
			at := "structures/" + in.Structures[0].ID + "/cost_of_loss/"
			c.Published[at+"total_value"], c.Published[at+"without_measures_per_year"] = f.Cost.Value, f.Cost.Loss
		}
		cases = append(cases, c)
	}
	for i, v := range f.Variants {
		cases = append(cases, Case{f.Title + ", variant " + strconv.Itoa(i+1), f.Origin, v.Input, v.Published, u})
	}
	return cases, true, nil
}

// Compare writes every printed value beside the computed one, lines of at most 80 columns for usual ids, and reports those that differ.
func (c *Case) Compare(w io.Writer, result *wire.Result) error {
	text, err := json.Marshal(result)
	if err != nil {
		return err
	}
	var doc any
	if err := json.Unmarshal(text, &doc); err != nil {
		return err
	}
	const layout = "  %-46s %-12s %s\n"
	fmt.Fprintf(w, layout, "value", "printed", "computed")
	var faults []error
	for _, path := range slices.Sorted(maps.Keys(c.Published)) {
		printed := c.Published[path]
		want, err := printed.Float64()
		if err != nil {
			faults = append(faults, fmt.Errorf("%s: printed value %q", path, printed))
			continue
		}
		got, ok := lookUp(doc, strings.Split(path, "/"))
		if !ok {
			faults = append(faults, fmt.Errorf("%s is not in the result", path))
			continue
		}
		fmt.Fprintf(w, layout, shortPath.Replace(path), strconv.FormatFloat(want, 'g', 6, 64), strconv.FormatFloat(got, 'g', 6, 64))
		if math.Abs(got-want) > c.units.tolerance(path, want) {
			faults = append(faults, fmt.Errorf("%s: printed %s, computed %.6g", path, printed, got))
		}
	}
	return errors.Join(faults...)
}

// shortPath names a printed value in few words.
var shortPath = strings.NewReplacer("structures/", "", "lines/", "", "risks/", "", "components/", "", "zones/", "", "loss_of_",
	"", "_per_year", "", "_m2", "",
	"without_measures", "without measures", "/", ", ", "R_", "R_", "_", " ")

// leastFigures are the significant figures that every printed value has: trailing zeros are not in the file.
const leastFigures = 3

// tolerance is half a unit of the last printed digit, or a whole one where the case says so.
func (u units) tolerance(path string, value float64) float64 {
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(value)))-float64(max(figures(value), leastFigures)-1))
	if u.risk > 0 && (strings.Contains(path, "/components/") || strings.Contains(path, "/zones/")) {
		unit = u.risk
	}
	if !u.wholeLastDigit {
		unit /= 2
	}
	return unit * (1 + 1e-9)
}

// figures counts the significant digits of a printed number, without trailing
// zeros; none of the cases prints more than nine.
func figures(v float64) int {
	mantissa, _, _ := strings.Cut(strconv.FormatFloat(math.Abs(v), 'e', 8, 64), "e")
	return len(strings.TrimRight(strings.Replace(mantissa, ".", "", 1), "0"))
}

// lookUp follows a path; an entry of a list is found by its id.
func lookUp(at any, path []string) (float64, bool) {
	if len(path) == 0 {
		v, ok := at.(float64)
		return v, ok
	}
	switch v := at.(type) {
	case map[string]any:
		return lookUp(v[path[0]], path[1:])
	case []any:
		for _, e := range v {
			if m, ok := e.(map[string]any); ok && m["id"] == path[0] {
				return lookUp(m, path[1:])
			}
		}
	}
	return 0, false
}
