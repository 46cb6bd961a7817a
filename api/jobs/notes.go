package jobs

import (
	"levinward/api/batch"
	"levinward/store"
)

// spansOfNote bounds the rows that a note names; the others are counted.
const spansOfNote = 1000

// notes gathers what was noted of the rows of a file. Rows that follow each
// other are one span: a column of formulas is one note of a line, however long the file. Notes
// are about as many as columns, so memory does not grow with the rows.
type notes struct {
	store.Notes
	at map[batch.Note]int // in All
}

func (n *notes) add(row int64, noted []batch.Note) {
	if len(noted) > 0 {
		n.Rows++
	}
	for _, one := range noted {
		i, known := n.at[one]
		if !known {
			i = len(n.All)
			n.at[one] = i
			n.All = append(n.All, store.Note{Column: storable(one.Column), Text: storable(one.Text)})
		}
		note := &n.All[i]
		note.Count++
		last := len(note.Rows) - 1
		switch {
		case last >= 0 && note.Rows[last].Last == row-1:
			note.Rows[last].Last = row
		case last+1 < spansOfNote:
			note.Rows = append(note.Rows, store.RowSpan{First: row, Last: row})
		}
	}
}
