package trace

import "testing"

// Expected values are written in the test itself.
func TestReviewedValueIsUsed(t *testing.T) {
	table := &Table{Number: "1", Symbols: []string{"a", "b"}, Rows: []Row{{Text: "first", Values: []float64{1, 2}},
		{Text: "second", Values: []float64{3, 4}}}}
	q := Number(&Quantity{Symbol: "x"})[0]
	r := NewReviews("hash")
	r.SetCell(table, 1, 0, Review{Value: 30, By: "A. Reader", Date: "2026-11-30"})

	recording := New(4)
	for name, tr := range map[string]*Trace{"recording": recording.With(r), "silent": (*Trace)(nil).With(r), "quiet": New(4).With(r).Quiet()} {
		if v := tr.Pick(q, table, 1, 0); v != 30 {
			t.Errorf("%s: a reviewed value reads %v, want 30", name, v)
		}
		if v := tr.Pick(q, table, 1, 1); v != 4 {
			t.Errorf("%s: a value without review reads %v, want 4", name, v)
		}
		if v := tr.Value(table, 0, 1); v != 2 {
			t.Errorf("%s: %v, want 2", name, v)
		}
	}
	if n := len(recording.Steps); n != 2 || recording.Steps[0].Value != 30 {
		t.Errorf("the recording trace has %d steps", n)
	}
	if recording.Reset(); recording.Value(table, 1, 0) != 3 {
		t.Error("a reset trace keeps reviews of the computation before")
	}
}

func TestWithoutReviews(t *testing.T) {
	table := &Table{Number: "1", Symbols: []string{"a"}, Rows: []Row{{Text: "first", Values: []float64{1}}}}
	var none *Trace
	if none.With(nil) != nil || none.Quiet() != nil || none.Records() {
		t.Error("no trace and no reviews must stay no trace")
	}
	if none.Value(table, 0, 0) != 1 || (*Reviews)(nil).Value(table, 0, 0) != 1 {
		t.Error("without reviews the program's value holds")
	}
	if _, ok := (*Reviews)(nil).Formula(&Quantity{}); ok {
		t.Error("no reviews have no formula")
	}
	if silent := none.With(NewReviews("")); silent.Records() {
		t.Error("a trace made for reviews alone records")
	}
}

func TestSilentTraceRecordsNothing(t *testing.T) {
	q := Number(&Quantity{Symbol: "x"}, &Quantity{Symbol: "y"})
	s := (*Trace)(nil).With(NewReviews(""))
	s.Enter("a", "b", 0)
	s.EnterField("a", "b")
	s.Begin(q[0])
	s.Given(q[0], 1)
	s.Noted(q[0], 1, "note")
	if v := s.Set(q[1], 2) + s.Collect(q[1], 3); v != 5 {
		t.Errorf("values %v", v)
	}
	s.Recall(s.Last(q[0]))
	s.Leave()
	if len(s.Steps) != 0 {
		t.Errorf("%d steps", len(s.Steps))
	}
}
