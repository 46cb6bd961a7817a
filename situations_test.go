package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"levinward/api/refusal"
	"levinward/api/single"
)

const situationsDir = "testdata/situations"

// situation is a block of testdata/situations: what is entered and what the clauses ask for. README.md there has the form.
type situation struct {
	number, title, point, why string
	input                     json.RawMessage
	checks                    map[string]json.RawMessage
	expected                  []expectation
}

// expectation is one value that a clause asks for.
type expectation struct {
	line                          string // as it is written, without working
	entry, mode, field, op, value string
	section, mark, working        string
}

// TestSituations compares what the program answers with what the clauses ask for. not-yet.txt lists what it does not answer
// yet: a line that is met must go from there, and one that is no longer met may not come in unseen.
func TestSituations(t *testing.T) {
	base, all := readSituations(t)
	notYet := readNotYet(t)
	var unmet []string
	met := 0
	for i := range all {
		s := &all[i]
		answers := answersOf(t, base, s)
		for _, e := range s.expected {
			if reason := e.compare(answers); reason == "" {
				met++
			} else {
				unmet = append(unmet, s.number+": "+e.line)
				if !notYet[s.number+": "+e.line] {
					t.Errorf("situation %s (%s): %s: %s; section %s, %s: %s", s.number, s.title, e.line, reason, e.section, e.mark, e.working)
				}
			}
		}
	}
	for line := range notYet {
		if !slices.Contains(unmet, line) {
			t.Errorf("met by now, take it from not-yet.txt: %s", line)
		}
	}
	t.Logf("%d expectations of %d situations are met, %d not yet", met, len(all), len(unmet))
	if *update {
		const head = "# What the program does not answer yet. A test demands that a line goes as soon as it is met.\n"
		text := head + strings.Join(unmet, "\n") + "\n"
		if err := os.WriteFile(filepath.Join(situationsDir, "not-yet.txt"), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// TestSituationsNotice gives the comparison answers that are right, wrong and missing.
func TestSituationsNotice(t *testing.T) {
	answer := map[string]any{"site": tree(t, `{"warnings": ["Earth 150 ohm", "b"],
		"spd_schedule": [{"line": "a", "structure": "h", "position": "line_entrance", "iimp_min_ka": 25, "uc_min_v": null,
			"notes": ["Ask the maker"], "modes": [{"mode": "L-N", "up_max_kv": 1.5, "tov": [{"duration": "5 s", "volt": 337}]}]}]}`)}
	for line, want := range map[string]bool{
		"a@h | - | iimp_min_ka = 25 | 1 | memory | x":                true,
		"a@h | - | iimp_min_ka = 25.2 | 1 | memory | x":              false,
		"a@h | - | iimp_min_ka >= 24 | 1 | memory | x":               true,
		"a@h | - | iimp_min_ka <= 24 | 1 | memory | x":               false,
		"a@h | - | iimp_min_ka != 25 | 1 | memory | x":               false,
		"a@h | - | uc_min_v null | 1 | memory | x":                   true,
		"a@h | - | iimp_min_ka null | 1 | memory | x":                false,
		"a@h | - | notes contains MAKER / supplier | 1 | memory | x": true,
		"a@h | - | notes lacks maker | 1 | memory | x":               false,
		"a@h | L-N | up_max_kv = 1.5 | 1 | memory | x":               true,
		"a@h | N-PE | up_max_kv = 1.5 | 1 | memory | x":              false,
		"a@h | L-N | tov[5 s].volt = 337 | 1 | memory | x":           true,
		"a@h | L-N | tov[200 ms] absent | 1 | memory | x":            true,
		"a@h | L-N | tov[5 s] absent | 1 | memory | x":               false,
		"a@h | L-N | tov[5 s] present | 1 | memory | x":              true,
		"b@h | - | iimp_min_ka null | 1 | memory | x":                false,
		"site | - | warnings[0] contains 150 | 1 | memory | x":       true,
		"site | - | warnings[1] contains 150 | 1 | memory | x":       false,
		"site | - | count(spd_schedule) = 1 | 1 | memory | x":        true,
		"status | - | code = 200 | 1 | memory | x":                   false,
	} {
		e, err := parseExpectation(line)
		if err != nil {
			t.Fatal(err)
		}
		if reason := e.compare(answer); (reason == "") != want {
			t.Errorf("%s: met %v, want %v (%s)", line, reason == "", want, reason)
		}
	}
}

var situationMarks = []string{"secondary_source", "memory", "common_practice", "given"}

func parseExpectation(text string) (e expectation, err error) {
	cells := strings.Split(text, "|")
	if len(cells) < 6 {
		return e, fmt.Errorf("%s: %d cells, six are needed", text, len(cells))
	}
	for i := range cells {
		cells[i] = strings.TrimSpace(cells[i])
	}
	e = expectation{line: strings.Join(cells[:3], " | "), entry: cells[0], mode: cells[1], section: cells[3], mark: cells[4],
		working: strings.Join(cells[5:], "|")}
	for _, op := range []string{" >= ", " <= ", " != ", " = ", " contains ", " lacks "} {
		if field, value, ok := strings.Cut(cells[2], op); ok {
			e.field, e.op, e.value = field, strings.TrimSpace(op), value
			break
		}
	}
	for _, op := range []string{" null", " absent", " present"} {
		if field, ok := strings.CutSuffix(cells[2], op); e.op == "" && ok {
			e.field, e.op = field, strings.TrimSpace(op)
		}
	}
	if e.op == "" || !slices.Contains(situationMarks, e.mark) || e.section == "" || e.working == "" {
		return e, fmt.Errorf("%s: no comparison, mark, section or working", text)
	}
	return e, nil
}

// readSituations reads every block, and what all inputs have in common.
func readSituations(t *testing.T) (base json.RawMessage, all []situation) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(situationsDir, "*.txt"))
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		if filepath.Base(name) == "not-yet.txt" {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, part := range statements(string(text)) {
			keyword, rest, _ := strings.Cut(part, ":")
			word, name, _ := strings.Cut(keyword, " ")
			rest = strings.TrimSpace(rest)
			switch {
			case word == "base":
				base = json.RawMessage(rest)
				continue
			case word == "situation":
				all = append(all, situation{number: name, title: rest, checks: map[string]json.RawMessage{}})
				continue
			case len(all) == 0:
				t.Fatalf("%s: %q stands before the first situation", name, part)
			}
			s := &all[len(all)-1]
			switch word {
			case "point":
				s.point = rest
			case "why":
				s.why = rest
			case "input":
				s.input = json.RawMessage(rest)
			case "check":
				s.checks[name] = json.RawMessage(rest)
			case "expect":
				e, err := parseExpectation(strings.TrimPrefix(part, "expect "))
				if err != nil {
					t.Fatalf("situation %s: %v", s.number, err)
				}
				s.expected = append(s.expected, e)
			}
		}
	}
	if len(all) < 40 || base == nil {
		t.Fatalf("%d situations, at least 40 are wanted", len(all))
	}
	return base, all
}

// statements parts a file at its keywords; a statement may run over several lines.
func statements(text string) (all []string) {
	for line := range strings.Lines(text) {
		word := strings.FieldsFunc(line, func(r rune) bool { return r == ' ' || r == ':' })
		begins := len(word) > 0 && slices.Contains([]string{"base", "situation", "point", "why", "input", "check", "expect", "open"}, word[0])
		switch line = strings.TrimRight(line, "\n"); {
		case begins:
			all = append(all, line)
		case len(all) > 0 && strings.TrimSpace(line) != "":
			all[len(all)-1] += " " + strings.TrimSpace(line)
		}
	}
	return all
}

func readNotYet(t *testing.T) map[string]bool {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(situationsDir, "not-yet.txt"))
	if err != nil {
		t.Fatal(err)
	}
	lines := map[string]bool{}
	for line := range strings.Lines(string(text)) {
		if line = strings.TrimSpace(line); line != "" && !strings.HasPrefix(line, "#") {
			lines[line] = true
		}
	}
	return lines
}

// answersOf asks the program as a client would: by JSON alone. The answer to the input stands under "site" and "status".
func answersOf(t *testing.T, base json.RawMessage, s *situation) map[string]any {
	t.Helper()
	answers := map[string]any{}
	in, common := tree(t, string(s.input)).(map[string]any), tree(t, string(base)).(map[string]any)
	for key, value := range common {
		if _, there := in[key]; !there {
			in[key] = value
		}
	}
	result, err := single.Compute(jsonText(t, in), "test", nil, nil, nil)
	answers["status"] = statusOf(t, err)
	if err == nil {
		answers["site"] = tree(t, string(jsonText(t, result)))
	}
	for name, body := range s.checks {
		if result, err := single.CheckDevice(body, nil); err == nil {
			answers["check "+name] = tree(t, string(jsonText(t, result)))
		}
	}
	return answers
}

func statusOf(t *testing.T, err error) map[string]any {
	if err == nil {
		return map[string]any{"code": 200.0}
	}
	var p *refusal.Problem
	if !errors.As(err, &p) {
		t.Fatal(err)
	}
	return map[string]any{"code": float64(p.Status), "body": string(jsonText(t, p))}
}

func tree(t *testing.T, text string) (v any) {
	t.Helper()
	if err := json.Unmarshal([]byte(text), &v); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	return v
}

func jsonText(t *testing.T, v any) []byte {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// compare says what is not as expected, nothing where it is.
func (e *expectation) compare(answers map[string]any) string {
	from, ok := e.place(answers)
	if !ok {
		return "there is no " + e.entry + " " + e.mode
	}
	found, there := follow(from, e.field)
	switch e.op {
	case "absent":
		return unless(!there, "found "+shown(found))
	case "present":
		return unless(there && found != nil, "it is not there")
	case "null":
		return unless(there && found == nil, "found "+shown(found))
	}
	if !there {
		return "the answer has no " + e.field
	}
	return unless(e.holds(found), "found "+shown(found))
}

func unless(met bool, reason string) string {
	if met {
		return ""
	}
	return reason
}

func shown(v any) string {
	text, _ := json.Marshal(v) // it came from JSON
	return fmt.Sprintf("%.200s", text)
}

// place finds the object that an expectation is about: an answer as a whole, an entry of the schedule, or a mode of one.
func (e *expectation) place(answers map[string]any) (any, bool) {
	if whole, ok := answers[e.entry]; ok {
		return whole, true
	}
	line, place, ok := strings.Cut(e.entry, "@")
	if !ok {
		return nil, false
	}
	structure, position, _ := strings.Cut(place, ":")
	if position == "" {
		position = "line_entrance"
	}
	schedule, _ := follow(answers["site"], "spd_schedule")
	entries, _ := schedule.([]any)
	for _, entry := range entries {
		m, _ := entry.(map[string]any)
		if m["line"] != line || m["structure"] != structure || m["position"] != position {
			continue
		}
		if e.mode == "-" {
			return m, true
		}
		modes, _ := m["modes"].([]any)
		for _, mode := range modes {
			if n, _ := mode.(map[string]any); n["mode"] == e.mode {
				return n, true
			}
		}
	}
	return nil, false
}

// names of the field that tells the objects of a list apart.
var keyOf = map[string]string{"tov": "duration", "assumptions": "pointer", "finding": "rule"}

// follow finds a field such as "leads.earth_mm2", "warnings[0]", "tov[5 s].volt", "count(spd_schedule)".
func follow(v any, path string) (any, bool) {
	if counted, ok := strings.CutPrefix(path, "count("); ok {
		list, _ := follow(v, strings.TrimSuffix(counted, ")"))
		entries, isList := list.([]any)
		return float64(len(entries)), isList
	}
	name, rest := path, ""
	if i := strings.IndexAny(path, ".["); i >= 0 {
		name, rest = path[:i], path[i:]
	}
	list := name
	if name == "finding" {
		list = "findings"
	}
	m, _ := v.(map[string]any)
	v, there := m[list]
	if key, after, ok := strings.Cut(strings.TrimPrefix(rest, "["), "]"); ok && strings.HasPrefix(rest, "[") {
		v, there = choose(v, keyOf[name], key)
		rest = after
	}
	if rest = strings.TrimPrefix(rest, "."); rest == "" || !there {
		return v, there
	}
	return follow(v, rest)
}

func choose(list any, field, key string) (any, bool) {
	entries, _ := list.([]any)
	if n, err := strconv.Atoi(key); err == nil && field == "" {
		if n < len(entries) {
			return entries[n], true
		}
		return nil, false
	}
	for _, entry := range entries {
		if m, _ := entry.(map[string]any); m[field] == key {
			return entry, true
		}
	}
	return nil, false
}

// holds compares a value that was found. Numbers are equal to 0.5 %, because the tables are rounded.
func (e *expectation) holds(found any) bool {
	switch e.op {
	case "contains", "lacks":
		has := false
		for _, word := range strings.Split(e.value, " / ") {
			has = has || strings.Contains(strings.ToLower(shownWhole(found)), strings.ToLower(word))
		}
		return has == (e.op == "contains")
	}
	want, err := strconv.ParseFloat(e.value, 64)
	number, isNumber := found.(float64)
	if err != nil || !isNumber {
		return (fmt.Sprint(found) == e.value) == (e.op == "=")
	}
	equal := math.Abs(number-want) <= 0.005*math.Abs(want)
	switch e.op {
	case ">=":
		return number > want || equal
	case "<=":
		return number < want || equal
	}
	return equal == (e.op == "=")
}

func shownWhole(v any) string {
	text, _ := json.Marshal(v) // it came from JSON
	return string(text)
}
