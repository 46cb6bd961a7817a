package trace

import (
	"fmt"
	"math"
	"strconv"
)

// expression is a parsed formula. Within sum, prod, max and min of one argument
// the collected symbol takes each of its values in turn.
type expression func(env *environment) (float64, error)

type environment struct {
	values map[string][]float64
	used   map[string]bool
	many   string // the collected symbol
	index  int    // its value in turn; -1 outside a collecting function
}

type parser struct {
	text string
	next int
}

// parse reads a formula: numbers, symbols, + - * / ^, parentheses and the functions of functions and folds.
func parse(text string) (e expression, err error) {
	defer func() {
		if r := recover(); r != nil {
			msg, ok := r.(syntaxError)
			if !ok {
				panic(r)
			}
			err = fmt.Errorf("formula %q: %s", text, string(msg))
		}
	}()
	p := &parser{text: text}
	e = p.sum()
	if p.peek() != 0 {
		p.fail("unexpected " + string(p.peek()))
	}
	return e, nil
}

type syntaxError string

func (p *parser) fail(why string) { panic(syntaxError(why + " at " + strconv.Itoa(p.next))) }

func (p *parser) peek() byte {
	for p.next < len(p.text) && p.text[p.next] == ' ' {
		p.next++
	}
	if p.next == len(p.text) {
		return 0
	}
	return p.text[p.next]
}

func (p *parser) accept(c byte) bool {
	if p.peek() != c {
		return false
	}
	p.next++
	return true
}

func (p *parser) need(c byte) {
	if !p.accept(c) {
		p.fail("wanted " + string(c))
	}
}

func (p *parser) sum() expression {
	e := p.product()
	for {
		switch {
		case p.accept('+'):
			e = binary(e, p.product(), func(a, b float64) float64 { return a + b })
		case p.accept('-'):
			e = binary(e, p.product(), func(a, b float64) float64 { return a - b })
		default:
			return e
		}
	}
}

func (p *parser) product() expression {
	e := p.factor()
	for {
		switch {
		case p.accept('*'):
			e = binary(e, p.factor(), func(a, b float64) float64 { return a * b })
		case p.accept('/'):
			e = binary(e, p.factor(), func(a, b float64) float64 { return a / b })
		default:
			return e
		}
	}
}

func (p *parser) factor() expression {
	if p.accept('-') {
		return binary(constant(0), p.factor(), func(a, b float64) float64 { return a - b })
	}
	e := p.atom()
	if p.accept('^') {
		return binary(e, p.factor(), math.Pow)
	}
	return e
}

func (p *parser) atom() expression {
	c := p.peek()
	switch {
	case p.accept('('):
		e := p.sum()
		p.need(')')
		return e
	case c >= '0' && c <= '9' || c == '.':
		return p.number()
	case isLetter(c):
		name := p.word()
		if p.accept('(') {
			return p.call(name)
		}
		if name == "pi" {
			return constant(math.Pi)
		}
		return symbol(name)
	}
	p.fail("wanted a value")
	return nil
}

func (p *parser) number() expression {
	from := p.next
	for p.next < len(p.text) {
		c := p.text[p.next]
		exponent := (c == '-' || c == '+') && p.next > from && p.text[p.next-1] == 'e'
		if c >= '0' && c <= '9' || c == '.' || c == 'e' || exponent {
			p.next++
			continue
		}
		break
	}
	v, err := strconv.ParseFloat(p.text[from:p.next], 64)
	if err != nil {
		p.fail("not a number")
	}
	return constant(v)
}

func (p *parser) word() string {
	from := p.next
	for p.next < len(p.text) && (isLetter(p.text[p.next]) || p.text[p.next] >= '0' && p.text[p.next] <= '9' || p.text[p.next] == '\'') {
		p.next++
	}
	return p.text[from:p.next]
}

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c == '_' }

// functions of two or more arguments, and folds over a collected symbol.
var folds = map[string]struct {
	start float64
	step  func(a, b float64) float64
}{
	"sum":  {0, func(a, b float64) float64 { return a + b }},
	"prod": {1, func(a, b float64) float64 { return a * b }},
	"max":  {math.Inf(-1), math.Max},
	"min":  {math.Inf(1), math.Min},
}

// functions of one argument. Q is the probability that a standard normal variable exceeds z, and Qinv the z that it
// exceeds with probability p.
var functions = map[string]func(float64) float64{"sqrt": math.Sqrt, "ln": math.Log, "exp": math.Exp, "ceil": math.Ceil, "floor": math.Floor,
	"Q":    func(z float64) float64 { return 0.5 * math.Erfc(z/math.Sqrt2) },
	"Qinv": func(p float64) float64 { return math.Sqrt2 * math.Erfinv(1-2*p) }}

func (p *parser) call(name string) expression {
	args := []expression{p.sum()}
	for p.accept(',') {
		args = append(args, p.sum())
	}
	p.need(')')
	if f, ok := functions[name]; ok && len(args) == 1 {
		return binary(args[0], constant(0), func(a, _ float64) float64 { return f(a) })
	}
	fold, ok := folds[name]
	if !ok {
		p.fail("unknown function " + name)
	}
	if len(args) == 1 {
		return func(env *environment) (float64, error) {
			total := fold.start
			for i := range env.values[env.many] {
				inner := *env
				inner.index = i
				v, err := args[0](&inner)
				if err != nil {
					return 0, err
				}
				total = fold.step(total, v)
			}
			if len(env.values[env.many]) == 0 {
				env.used[env.many] = true
			}
			return total, nil
		}
	}
	return func(env *environment) (float64, error) {
		total := fold.start
		for _, a := range args {
			v, err := a(env)
			if err != nil {
				return 0, err
			}
			total = fold.step(total, v)
		}
		return total, nil
	}
}

func constant(v float64) expression { return func(*environment) (float64, error) { return v, nil } }

func symbol(name string) expression {
	return func(env *environment) (float64, error) {
		vs := env.values[name]
		env.used[name] = true
		switch {
		case name == env.many && env.index >= 0:
			return vs[env.index], nil
		case len(vs) == 1:
			return vs[0], nil
		}
		return 0, fmt.Errorf("symbol %s has %d values, wanted 1", name, len(vs))
	}
}

func binary(a, b expression, f func(a, b float64) float64) expression {
	return func(env *environment) (float64, error) {
		x, err := a(env)
		if err != nil {
			return 0, err
		}
		y, err := b(env)
		return f(x, y), err
	}
}
