package trace

import (
	"errors"
	"fmt"
	"math"
)

// Tolerance is the relative difference allowed between a recorded value and its re-evaluated formula.
const Tolerance = 1e-12

// Check evaluates the formula of every step from the values it was recorded
// with. It reports each step whose value differs by more than Tolerance,
// that misses an input, or whose formula does not use a declared input, so that
// code, printed formula and declared inputs cannot drift apart unseen.
func (t *Trace) Check() error {
	parsed := map[*Quantity]expression{}
	var faults []error
	for i := range t.Steps {
		if err := t.checkStep(i, parsed); err != nil {
			s := &t.Steps[i]
			faults = append(faults, fmt.Errorf("step %d, %s in %s: %w", i, s.Quantity.Symbol, t.ScopeName(s.Scope), err))
		}
	}
	return errors.Join(faults...)
}

func (t *Trace) checkStep(i int, parsed map[*Quantity]expression) error {
	s := &t.Steps[i]
	q := s.Quantity
	if math.IsNaN(s.Value) || math.IsInf(s.Value, 0) {
		return fmt.Errorf("value %v", s.Value)
	}
	if q.Expr == "" {
		return nil
	}
	e, ok := parsed[q]
	if !ok {
		var err error
		if e, err = parse(q.Expr); err != nil {
			return err
		}
		parsed[q] = e
	}
	env := &environment{values: map[string][]float64{}, used: map[string]bool{}, index: -1}
	if len(q.In) > 0 {
		env.many = q.In[0].Symbol
	}
	for _, j := range t.From(i) {
		in := &t.Steps[j]
		name := declared(q, in.Quantity)
		env.values[name] = append(env.values[name], in.Value)
	}
	v, err := e(env)
	if err != nil {
		return err
	}
	for _, in := range q.In {
		if !env.used[in.Symbol] {
			return fmt.Errorf("declared input %s is not in formula %s", in.Symbol, q.Expr)
		}
	}
	if d := math.Abs(v - s.Value); d > Tolerance*max(math.Abs(v), math.Abs(s.Value)) {
		return fmt.Errorf("recorded %v, %s gives %v", s.Value, q.Expr, v)
	}
	return nil
}

// declared is the symbol under which q's formula uses a step of quantity used.
func declared(q, used *Quantity) string {
	for _, in := range q.In {
		if in.id == used.id {
			return in.Symbol
		}
	}
	return used.Symbol
}
