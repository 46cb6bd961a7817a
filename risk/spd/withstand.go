package spd

import (
	"levinward/risk"
	"levinward/risk/trace"
)

// ratedWithstand is U_W by overvoltage category. A row serves voltages up to its own.
var ratedWithstand = &trace.Table{Number: "F.1",
	Title:  "Rated impulse withstand voltage U_W [kV] by voltage line to neutral (or d.c.) and overvoltage category",
	Clause: "IEC 60664-1 Table F.1", Symbols: []string{"IV", "III", "II", "I"}, Rows: []trace.Row{
		{Text: "50 V", Values: []float64{1.5, 0.8, 0.5, 0.33}, Provenance: trace.SecondarySource},
		{Text: "100 V", Values: []float64{2.5, 1.5, 0.8, 0.5}, Provenance: trace.SecondarySource},
		{Text: "120/208 V", Values: []float64{4, 2.5, 1.5, 0.8}, Provenance: trace.SecondarySource},
		{Text: "230/400, 277/480 V", Values: []float64{6, 4, 2.5, 1.5}, Provenance: trace.SecondarySource},
		{Text: "400/690 V", Values: []float64{8, 6, 4, 2.5}, Provenance: trace.SecondarySource},
		{Text: "1000 V", Values: []float64{12, 8, 6, 4}, Provenance: trace.SecondarySource},
		{Text: "1500 V d.c.", Values: []float64{15, 10, 8, 6}, Provenance: trace.SecondarySource,
			Remark: "row added: categories III and IV come from one source, IEC 60664-1 Edition 3"},
	}}

// ratedUpTo is the highest voltage line to neutral that a row of ratedWithstand serves.
var ratedUpTo = []float64{50, 100, 150, 300, 600, 1000}

const categoryII = 2 // column of ratedWithstand: equipment, the category an unknown device is taken for

// telecomWithstand is U_W of a telephone port not stated otherwise [kV]; ITU-T K.21, from memory.
const telecomWithstand = 1.5

// Rated is a rated impulse withstand voltage U_W [kV] with its reason, clause and mark.
type Rated struct {
	Withstand      float64
	Reason, Clause string
	Provenance     trace.Provenance
}

// Withstand is the rated impulse withstand voltage U_W [kV] of equipment where
// it is not stated: 1.5 kV on telecommunication lines; the photovoltaic table by U_OC,MAX on
// PV lines; category II of the voltage otherwise. The reason names the row, the mark is that of its value.
// Unknown voltages take the lowest row, the safe side. Values that r holds go before those of the program.
func Withstand(service risk.Service, e *risk.Electrical, r *trace.Reviews) Rated {
	switch {
	case service == risk.Telecom:
		return Rated{telecomWithstand, "telephone port", "ITU-T K.21", trace.Memory}
	case e.Current == risk.DC && e.Origin == risk.Photovoltaic:
		return photovoltaicWithstand(e, r)
	}
	row := 0
	for i, v := range ratedUpTo {
		if e.Nominal > v {
			row = i + 1
		}
	}
	return Rated{r.Value(ratedWithstand, row, categoryII), "overvoltage category II at " + ratedWithstand.Rows[row].Text,
		ratedWithstand.Clause, r.Provenance(ratedWithstand, row, categoryII)}
}

// photovoltaicWithstand reads the row at or below U_OC,STC, which never lies above U_OC,MAX: the safe side.
func photovoltaicWithstand(e *risk.Electrical, r *trace.Reviews) Rated {
	col := 2
	switch e.Equipment {
	case risk.Module:
		col = 1
	case risk.Inverter:
		col = 3
	}
	row := 0
	for i := range pvWithstand.Rows {
		if e.OpenCircuit >= r.Value(pvWithstand, i, 0) {
			row = i
		}
	}
	return Rated{r.Value(pvWithstand, row, col), "photovoltaic equipment (" + e.Equipment.String() + ") at " + pvWithstand.Rows[row].Text,
		pvWithstand.Clause, r.Provenance(pvWithstand, row, col)}
}
