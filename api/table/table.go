// Package table is what all tables that the service writes as text have in common.
package table

import (
	"strconv"
	"strings"
)

// FullNumber writes a number at full precision.
func FullNumber(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// PlainCell keeps a spreadsheet from taking a text for a formula.
func PlainCell(cell string) string {
	if cell == "" || !strings.ContainsRune("=+-@\t\r", rune(cell[0])) {
		return cell
	}
	if _, err := strconv.ParseFloat(cell, 64); err == nil {
		return cell
	}
	return "'" + cell
}

// CautionColumn is the last column of every table that tells of sites; each row holds the cautions in short.
const CautionColumn = "cautions"
