package reference

import (
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"strings"
	"time"

	"levinward/risk/trace"
)

// Reviewed is a table of reviews, ready to be kept and to be computed with.
type Reviewed struct {
	Document []byte // canonical CSV: the reviewed rows in the order of their keys
	Hash     string // SHA-256 of Document, hexadecimal
	Rows     []Row  // all rows of List, reviewed or not
	Reviews  *trace.Reviews
}

// Read reads a reviewed table with ReadCSV and compiles it. The error is a *FaultyTable.
func Read(text []byte, now time.Time) (*Reviewed, error) {
	rows, err := ReadCSV(text, now)
	if err != nil {
		return nil, err
	}
	return Compile(rows)
}

// Compile makes of rows what a computation looks up. Two tables that say the same have one document and one hash.
func Compile(rows []Row) (*Reviewed, error) {
	doc, err := canonicalCSV(rows)
	if err != nil {
		return nil, err
	}
	sum := sha256.Sum256(doc)
	r := &Reviewed{Document: doc, Hash: hex.EncodeToString(sum[:]), Rows: rows}
	r.Reviews = lookUp(rows, r.Hash)
	return r, nil
}

func lookUp(rows []Row, hash string) *trace.Reviews {
	reviews := trace.NewReviews(hash)
	for i := range rows {
		r := &rows[i]
		if !r.Reviewed {
			continue
		}
		v := trace.Review{Agrees: r.Agrees, By: r.CheckedBy, Date: r.Date}
		if r.Kind == Formula {
			reviews.SetFormula(r.quantity, v)
			continue
		}
		v.Value = r.ValueInUse()
		reviews.SetCell(r.cell.table, r.cell.row, r.cell.col, v)
	}
	return reviews
}

func reviewedByKey(rows []Row) []Row {
	reviewed := slices.DeleteFunc(slices.Clone(rows), func(r Row) bool { return !r.Reviewed })
	slices.SortFunc(reviewed, func(a, b Row) int { return strings.Compare(a.Key, b.Key) })
	return reviewed
}

// Disagreements are the rows in which the reader found something else printed.
func (r *Reviewed) Disagreements() []Row {
	var rows []Row
	for i := range r.Rows {
		if r.Rows[i].Reviewed && !r.Rows[i].Agrees {
			rows = append(rows, r.Rows[i])
		}
	}
	return rows
}

// Agreed is the number of rows that a reader agrees with.
func (r *Reviewed) Agreed() int {
	n := 0
	for i := range r.Rows {
		if r.Rows[i].Reviewed && r.Rows[i].Agrees {
			n++
		}
	}
	return n
}

// Restore reads a document that was compiled and kept, perhaps by another version of the program. A row about a value
// that this program no longer has, or has changed since, is not used and comes back as a fault: it has to be reviewed
// again. The hash stays that of the document. The error says that it is no such document.
func Restore(doc []byte, hash string) (*Reviewed, []Fault, error) {
	p := newParser("9999-12-31")
	if !p.read(doc) {
		return nil, nil, p.faults
	}
	p.order()
	return &Reviewed{Document: doc, Hash: hash, Rows: p.rows, Reviews: lookUp(p.rows, hash)}, p.faults.Faults, nil
}
