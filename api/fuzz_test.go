package api_test

import (
	"bytes"
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"levinward/api/apitest"
	"levinward/api/assess"
	"levinward/api/assessments"
	"levinward/api/refusal"
	"levinward/risk/trace"
)

func seeds(f *testing.F) [][]byte {
	bodies := [][]byte{apitest.Demo(f), apitest.Smallest(f), []byte(apitest.Sound), []byte("{}"), []byte("[1e400]"),
		[]byte(`{"name": null, "name": "\ud800"}`), []byte(`{"a":{"a":[{}]}}x`)}
	for _, test := range invalidInputs {
		bodies = append(bodies, apitest.Changed(f, []byte(apitest.Sound), test.put))
	}
	return bodies
}

// FuzzDecode: no body panics. What is accepted can be computed and stored, and
// both ways of decoding agree: they accept the same bodies, take them for the same
// input and name the same faults.
func FuzzDecode(f *testing.F) {
	for _, body := range seeds(f) {
		f.Add(body)
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		in, site, problem := apitest.Decode(body)
		slow, slowProblem := apitest.Explain(body)
		if problem != nil {
			refusedAlike(t, problem, slowProblem)
			return
		}
		if slowProblem != nil || !reflect.DeepEqual(in, slow) {
			t.Fatalf("accepted, but the slow way says %v", slowProblem)
		}
		sheet := trace.New(0)
		answer, faults := assess.Run(site, sheet)
		if len(faults) > 0 {
			t.Fatalf("accepted, but cannot be computed: %v", faults)
		}
		if err := sheet.Check(); err != nil {
			t.Fatal(err)
		}
		if _, err := json.Marshal(answer.Document(in)); err != nil {
			t.Fatalf("the result is no JSON: %v", err)
		}
		again(t, in)
	})
}

// refusedAlike holds that a refusal names faults, none twice, and the same ones either way.
func refusedAlike(t *testing.T, fast, slow *refusal.Problem) {
	t.Helper()
	if slow == nil || fast.Status != slow.Status || !slices.Equal(placesIn(fast), placesIn(slow)) {
		t.Fatalf("refused for %v\nthe slow way for %v", placesIn(fast), slow)
	}
	switch {
	case fast.Status == 400 && len(fast.Errors) == 0:
	case fast.Status == 422 && len(fast.Errors) > 0:
	default:
		t.Fatalf("status %d with %d faults: %s", fast.Status, len(fast.Errors), fast.Detail)
	}
}

func placesIn(p *refusal.Problem) []string {
	var places []string
	for _, f := range p.Errors {
		places = append(places, strings.TrimSpace(*f.Pointer+" "+f.Rule))
	}
	slices.Sort(places)
	return places
}

// again holds that the canonical form of an input is accepted as the same input.
func again(t *testing.T, in any) {
	t.Helper()
	canonical, err := json.Marshal(in)
	if err != nil {
		t.Fatal(err)
	}
	same, _, problem := apitest.Decode(canonical)
	if problem != nil || !reflect.DeepEqual(any(same), in) {
		t.Fatalf("the canonical form is another input: %s, %v", canonical, problem)
	}
}

// mergeExamples are those of RFC 7396, Appendix A, with the object as the original: original, patch, result.
var mergeExamples = [][3]string{
	{`{"a":"b"}`, `{"a":"c"}`, `{"a":"c"}`},
	{`{"a":"b"}`, `{"b":"c"}`, `{"a":"b","b":"c"}`},
	{`{"a":"b"}`, `{"a":null}`, `{}`},
	{`{"a":"b","b":"c"}`, `{"a":null}`, `{"b":"c"}`},
	{`{"a":["b"]}`, `{"a":"c"}`, `{"a":"c"}`},
	{`{"a":"c"}`, `{"a":["b"]}`, `{"a":["b"]}`},
	{`{"a":{"b":"c"}}`, `{"a":{"b":"d","c":null}}`, `{"a":{"b":"d"}}`},
	{`{"a":[{"b":"c"}]}`, `{"a":[1]}`, `{"a":[1]}`},
	{`{"e":null}`, `{"a":1}`, `{"e":null,"a":1}`},
	{`[1,2]`, `{"a":"b","c":null}`, `{"a":"b"}`},
	{`{}`, `{"a":{"bb":{"ccc":null}}}`, `{"a":{"bb":{}}}`},
	{`{}`, `{"a":[{"b":null}]}`, `{"a":[{"b":null}]}`}, // not of the RFC: a list is taken as it is
}

func TestMergePatchExamples(t *testing.T) {
	for _, e := range mergeExamples {
		got, problem := assessments.MergePatch([]byte(e[0]), []byte(e[1]))
		if problem != nil || !reflect.DeepEqual(apitest.Tree(t, got), apitest.Tree(t, []byte(e[2]))) {
			t.Errorf("%s on %s gives %s, want %s (%v)", e[1], e[0], got, e[2], problem)
		}
	}
}

// FuzzMergePatch: no patch panics. Applied a second time a patch changes nothing
// more; what it gives is there and what it removes is gone; the rest stays.
func FuzzMergePatch(f *testing.F) {
	for _, e := range mergeExamples {
		f.Add([]byte(e[1]))
	}
	for _, patch := range []string{`{"reference": null}`, `{"flash_density": {"year": null, "source": {"deep": [1, null, {"x": null}]}}}`,
		`{"location": 5}`,
		`{"a/b": {"~": 1}, "": 2}`, `null`, `[]`, `{`, `{"a": 1, "a": 2}`, `{"\u006eame": "x"}`, `{"name": 1e400}`} {
		f.Add([]byte(patch))
	}
	input := []byte(apitest.Sound)
	f.Fuzz(func(t *testing.T, patch []byte) {
		once, problem := assessments.MergePatch(input, patch)
		if problem != nil {
			if problem.Status != 400 && (problem.Status != 422 || len(problem.Errors) == 0) {
				t.Fatalf("status %d: %s", problem.Status, problem.Detail)
			}
			return
		}
		var changes any
		if json.Unmarshal(patch, &changes) != nil {
			return // a number beyond double precision, which the contract refuses where it stands
		}
		twice, problem := assessments.MergePatch(once, patch)
		if problem != nil || !bytes.Equal(once, twice) {
			t.Fatalf("applied twice: %s\nonce: %s", twice, once)
		}
		applied(t, apitest.Tree(t, input), changes, apitest.Tree(t, once))
	})
}

// applied compares an original, a patch and the result, object by object.
func applied(t *testing.T, original, patch, result any) {
	t.Helper()
	was, _ := original.(map[string]any)
	changes, object := patch.(map[string]any)
	if !object {
		if !reflect.DeepEqual(result, patch) {
			t.Fatalf("%v was given, %v is there", patch, result)
		}
		return
	}
	now := result.(map[string]any)
	for name, value := range was {
		if _, changed := changes[name]; !changed && !reflect.DeepEqual(now[name], value) {
			t.Fatalf("%s became %v", name, now[name])
		}
	}
	for name, value := range now {
		if _, known := was[name]; !known && changes[name] == nil {
			t.Fatalf("%s appeared: %v", name, value)
		}
	}
	for name, value := range changes {
		if after, there := now[name]; value == nil && there {
			t.Fatalf("%s was to go and is %v", name, after)
		} else if value != nil {
			applied(t, was[name], value, after)
		}
	}
}
