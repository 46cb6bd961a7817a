package main

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Figures for people have two or three significant digits; JSON and CSV keep full precision.

// rounding is the safe side of a figure: what is asked at least is never rounded down, what is allowed at most never up.
type rounding int

const (
	nearest rounding = iota
	upwards
	downwards
)

// quantity writes a value with three digits and the prefix people use: 0.0112 kA as 11.2 A.
func quantity(v float64, unit string, r rounding) string {
	if len(unit) == 2 && unit[0] == 'k' && math.Abs(v) < 1 {
		v, unit = 1000*v, unit[1:]
	}
	return figure(v, 3, r) + " " + unit
}

// thinSpace parts thousands.
const thinSpace = "\u2009"

// figure writes a value with so many significant digits, whole numbers in full, thousands parted.
func figure(v float64, significant int, r rounding) string {
	if v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return strconv.FormatFloat(v, 'g', -1, 64)
	}
	decimals := max(0, significant-1-int(math.Floor(math.Log10(math.Abs(v)))))
	scale := math.Pow(10, float64(decimals))
	const exact = 1e-9 // a value this near to a figure is that figure
	switch r {
	case upwards:
		v = math.Ceil(v*scale*(1-exact)) / scale
	case downwards:
		v = math.Floor(v*scale*(1+exact)) / scale
	}
	text := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(text, ".") {
		text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	}
	return thousands(text)
}

// thousands parts the whole digits of a number by threes.
func thousands(text string) string {
	whole, fraction, _ := strings.Cut(text, ".")
	for i := len(whole) - 3; i > 0 && whole[i-1] != '-'; i -= 3 {
		whole = whole[:i] + thinSpace + whole[i:]
	}
	if fraction != "" {
		whole += "." + fraction
	}
	return whole
}

// riskFigure writes a risk: 3.0 × 10⁻⁴.
func riskFigure(v float64) string {
	if v == 0 {
		return "0"
	}
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(v, 'e', 1, 64), "e")
	n, err := strconv.Atoi(exponent)
	if err != nil { // not a number
		return mantissa
	}
	raised := strings.NewReplacer("-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹")
	return mantissa + " × 10" + raised.Replace(strconv.Itoa(n))
}

// share says how a ratio stands to 1; one that is next to it is not rounded to it.
func share(ratio float64) string {
	switch {
	case ratio > 1.1:
		return figure(ratio, 2, nearest) + " times"
	case ratio > 1:
		return figure(ratio, 3, upwards) + " times"
	case ratio > 0.99:
		return figure(100*ratio, 4, downwards) + " %"
	}
	return figure(100*ratio, 2, nearest) + " %"
}

// ofLimit says how a risk stands to its limit, as the ratio of the two.
func ofLimit(ratio float64) string {
	if ratio > 1 {
		return share(ratio) + " the limit"
	}
	return share(ratio) + " of the limit"
}

// frequency writes a number of events or years with two significant digits.
func frequency(v float64) string {
	if v >= 100 {
		step := math.Pow(10, math.Floor(math.Log10(v))-1)
		v = math.Round(v/step) * step
	}
	return figure(v, 2, nearest)
}

// once writes how often something happens that happens so many times a year.
func once(perYear float64) string {
	if perYear <= 0 {
		return "none"
	}
	text := frequency(perYear) + " a year"
	if perYear < 1 {
		text += ", about once in " + frequency(1/perYear) + " years"
	}
	return text
}

// percent says a probability; one that is next to 0 or 1 is not rounded to it.
func percent(probability float64) string {
	switch {
	case probability < 0.001:
		return "below 0.1 %"
	case probability > 0.999:
		return "above 99.9 %"
	}
	return strconv.FormatFloat(100*probability, 'g', 3, 64) + " %"
}

// lossName is the name of a type of loss in documents.
var lossName = regexp.MustCompile(`\bloss_of_[a-z_]+\b`)

var exponential = regexp.MustCompile(`\b\d(\.\d+)?e[-+]\d\d\b`)

// smallKilo is an amount below one thousand in thousands: 0.0113 kA is read as 11.3 A.
var smallKilo = regexp.MustCompile(`\b0\.\d+ k[AV]\b`)

var joint = regexp.MustCompile(`([a-z])_([a-z])`)

// plain writes a value of a document in words; symbols such as L_F stay.
func plain(value string) string { return joint.ReplaceAllString(value, "$1 $2") }

// readable writes numbers with exponents and names of losses, as documents have them, as people do.
func readable(text string) string {
	text = lossName.ReplaceAllStringFunc(text, words)
	text = smallKilo.ReplaceAllStringFunc(text, func(amount string) string {
		number, unit, _ := strings.Cut(amount, " ")
		v, err := strconv.ParseFloat(number, 64)
		if err != nil || v == 0 {
			return amount
		}
		return strconv.FormatFloat(1000*v, 'g', 4, 64) + " " + unit[1:]
	})
	return exponential.ReplaceAllStringFunc(text, func(number string) string {
		v, err := strconv.ParseFloat(number, 64)
		if err != nil {
			return number
		}
		return riskFigure(v)
	})
}
