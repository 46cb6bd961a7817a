package protocol

import (
	"levinward/tabletext"

	"strconv"

	"github.com/labstack/echo/v4"

	"levinward/api/refusal"
)

// Parameters reads query parameters and collects their faults.
type Parameters struct {
	echo.Context
	faults []refusal.Fault
}

// Fault notes what is wrong with a parameter.
func (p *Parameters) Fault(name, reason string) {
	p.faults = append(p.faults, refusal.Fault{Parameter: name, Reason: reason})
}

// Problem is the refusal that names every fault, nil where there is none.
func (p *Parameters) Problem() error {
	if len(p.faults) > 0 {
		return refusal.BadParameter.Problem("", p.faults...)
	}
	return nil
}

// Truth reads true or false; absent is false.
func (p *Parameters) Truth(name string) bool {
	if !p.QueryParams().Has(name) {
		return false
	}
	text := p.QueryParam(name)
	if text != "true" && text != "false" {
		p.Fault(name, "must be true or false; found "+strconv.Quote(text))
	}
	return text == "true"
}

// Decimal reads the decimal sign of a table; absent is a point.
func (p *Parameters) Decimal() tabletext.Decimal {
	if !p.QueryParams().Has("decimal") {
		return tabletext.DecimalPoint
	}
	sign := tabletext.Decimal(p.QueryParam("decimal"))
	if !sign.Valid() {
		p.Fault("decimal", "must be one of point, comma; found "+strconv.Quote(string(sign)))
	}
	return sign
}

// Whole reads a whole number within limits.
func (p *Parameters) Whole(name string, absent, low, high int) int {
	if !p.QueryParams().Has(name) {
		return absent
	}
	n, err := strconv.Atoi(p.QueryParam(name))
	if err != nil || n < low || n > high {
		p.Fault(name, "must be a whole number, at least "+strconv.Itoa(low)+", at most "+strconv.Itoa(high)+"; found "+
			strconv.Quote(p.QueryParam(name)))
	}
	return n
}
