package risk

// Measures are the protection measures of one structure. A measure never
// takes away what is there already: the better of the two counts.
type Measures struct {
	LPS            LPS
	FireProtection FireProtection // in every inside zone
	StructureShock ShockMeasures  // in every zone
	LineShock      ShockMeasures  // in every inside zone
	Wiring         Wiring         // of every internal system
	Ends           []EndMeasures  // per line end at the structure, in the order of Input.Lines
}

// EndMeasures are the SPDs at one line end.
type EndMeasures struct {
	Line                 int // index into Input.Lines
	Bonding, Coordinated SPD
}

// Evaluator computes the risks of one structure under given measures [1/a].
// Risks never rise when a measure is replaced by a better one. The result is
// that of Edition.Assess on an input with these measures. An Evaluator is for
// one goroutine.
type Evaluator interface {
	Risks(m *Measures) [Losses]float64
}
