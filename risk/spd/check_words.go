package spd

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"levinward/risk"
)

// voltageWanted says which voltage U_C cannot be judged without.
func (c *checker) voltageWanted() string {
	if c.n.telecom {
		return "The highest voltage of the line is not known: give max_operating_v."
	}
	return "The highest operating voltage of the line is needed."
}

func lookFor(missing bool, entry, reason string) string {
	if missing {
		return "Look on the data sheet for " + entry + ". " + reason
	}
	return reason
}

func kindOf(c risk.Current) string {
	if c == risk.AC {
		return "a.c."
	}
	return "d.c."
}

// kinds names the currents the device is rated for.
func (d *Device) kinds() string {
	switch {
	case d.AC && d.DC:
		return "a.c. and d.c."
	case d.AC:
		return "a.c. only"
	case d.DC:
		return "d.c. only"
	}
	return "not stated"
}

// ucEntry names U_C as the data sheet does.
func (c *checker) ucEntry() string {
	switch {
	case c.photovoltaic:
		return "U_CPV, the maximum continuous operating voltage for d.c."
	case c.n.direct():
		return "U_C for d.c., the maximum continuous operating voltage"
	}
	return "U_C for a.c., the maximum continuous operating voltage"
}

// worst is the first finding of the verdict.
func (c *checker) worst() *Finding {
	for i := range c.out.Findings {
		if c.out.Findings[i].Verdict == c.out.Verdict {
			return &c.out.Findings[i]
		}
	}
	return nil
}

// sentence says the outcome in plain words.
func (c *checker) sentence() string {
	switch c.out.Verdict {
	case Suitable:
		return c.rightSentence()
	case InsufficientData:
		return c.missingSentence()
	case Ineffective:
		return c.idleSentence(c.worst())
	}
	return c.wrongSentence(c.worst())
}

func (c *checker) rightSentence() string {
	uc := c.d.uc(&c.n).Value
	low, high := c.acts(uc)
	return "Right for this line as far as checked: it stays inactive up to " + amount(uc, "V") + ", begins to act at about " +
		span(low, high) + " and lets at most " + amount(c.d.up(&c.n).Value, "kV") + " through."
}

// missingSentence names the rules that cannot be judged.
func (c *checker) missingSentence() string {
	var rules []string
	said := ""
	for i := range c.out.Findings {
		f := &c.out.Findings[i]
		switch name := f.word(); {
		case f.Verdict != InsufficientData:
		case f.Rule == RuleDataSheet && said == "":
			said = " U_P of " + f.Found + " does not fit U_C: the data sheet contradicts itself or is doubtful, ask the maker."
		case f.Rule == RuleDataSheet:
		case !slices.Contains(rules, name):
			rules = append(rules, name)
		}
	}
	sentence := "Cannot be judged yet."
	if len(rules) > 0 {
		sentence = "Cannot be judged yet, data are missing for: " + strings.Join(rules, ", ") + "."
	}
	sentence += said
	if !c.e.UcMin.Valid {
		sentence += " " + c.voltageWanted()
	}
	return sentence
}

// word is the rule of a finding as a technician calls it, with its mode.
func (f *Finding) word() string {
	if f.Mode == "" {
		return ruleWords[f.Rule]
	}
	return ruleWords[f.Rule] + " " + f.Mode
}

// ruleWords are the rules as a technician calls them.
var ruleWords = [Rules]string{"kind of current", "U_C", "beginning of action", "U_P", "data sheet", "test class", "I_n", "U_OC", "I_imp",
	"I_max",
	"short-circuit rating", "follow current",
	"modes of protection", "connection type", "temporary overvoltage", "leads", "distance", "device at the entrance",
	"backup overcurrent device", "earth"}

// idleSentence says why a harmless device protects nothing.
func (c *checker) idleSentence(f *Finding) string {
	switch f.Rule {
	case RuleHighestUc:
		low, high := c.acts(c.d.uc(&c.n).Value)
		return "Does nothing for this equipment: it starts to act at about " + span(low, high) + ", at most " +
			amount(1000*c.n.limit.Value, "V") + " may reach it."
	case RuleProtectionLevel:
		up := f.Found
		if c.lead.Valid && c.e.EffectiveMax.Valid {
			up, _, _ = strings.Cut(up, " with leads")
			up += " with its leads"
		}
		if f.Mode != "" {
			up += " (" + f.Mode + ")"
		}
		return "Does too little for this equipment: it lets up to " + up + " through, " + f.Required + " is allowed."
	case RuleFirstStage:
		return "Does nothing behind the device at the entrance: wanted is " + f.Required + ", found is " + f.Found + "."
	case RuleModes:
		return "Leaves a path unprotected: it has " + f.Found + ", this line needs " + f.Required + "."
	case RuleEarth:
		return "Earth first: without an earth connection it protects nothing."
	case RuleLeads:
		return "Protects nothing behind leads of " + f.Found + ": shorten them to " + strings.TrimPrefix(f.Required, "at most ") + "."
	}
	return "Does not protect the equipment at its distance: a second device belongs there."
}

// wrongSentence says why a device must not be used.
func (c *checker) wrongSentence(f *Finding) string {
	switch f.Rule {
	case RuleCurrentKind:
		return "Not to be used: the line carries " + kindOf(c.e.Current) + ", the device is rated for " + f.Found + "."
	case RuleLowestUc:
		return "Not to be used: it conducts in normal operation, U_C is " + f.Found + " and must be " + f.Required + "."
	case RuleBackup:
		return "Not to be used behind an overcurrent device of " + f.Found + ": it bears " + f.Required + "."
	}
	return "Not to be used here: " + f.word() + " is " + f.Found + ", required is " + f.Required + "."
}

// amount writes a number to four figures with its unit.
func amount(v float64, unit string) string {
	return number(v) + " " + unit
}

func number(v float64) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	if scale := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v)))); !math.IsInf(scale, 0) && scale != 0 {
		v = math.Round(v*scale) / scale
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// span writes a range of voltage.
func span(low, high float64) string { return number(low) + " to " + number(high) + " V" }

func list(names []string) string {
	if len(names) == 0 {
		return "not stated"
	}
	return strings.Join(names, ", ")
}

func lowerFirst(s string) string {
	if s == "" || len(s) > 1 && (s[1] < 'a' || s[1] > 'z') {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}
