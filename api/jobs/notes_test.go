package jobs

import (
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"levinward/api/batch"
	"levinward/store"
)

// However rows are noted: the spans name the first of them, each once and in order, and the others are counted.
func TestNotes(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := notes{at: map[batch.Note]int{}}
		hidden, formula := batch.Note{Text: "hidden"}, batch.Note{Column: "height_m", Text: "formula"}
		want := map[batch.Note][]int64{}
		length := rapid.SampledFrom([]int{1, 20, 3000}).Draw(t, "rows")
		every := rapid.IntRange(1, 4).Draw(t, "every")
		rows := int64(0)
		for row := int64(2); row < int64(2+length); row++ {
			var noted []batch.Note
			if int(row)%every == 0 {
				noted = append(noted, hidden)
			}
			if row > 5 && row < 2500 {
				noted = append(noted, formula)
			}
			if len(noted) > 0 {
				rows++
			}
			for _, one := range noted {
				want[one] = append(want[one], row)
			}
			n.add(row, noted)
		}
		if n.Rows != rows || len(n.All) != len(want) {
			t.Fatalf("%d rows, %d notes; want %d and %d", n.Rows, len(n.All), rows, len(want))
		}
		for _, note := range n.All {
			all := want[batch.Note{Column: note.Column, Text: note.Text}]
			var named []int64
			for i, span := range note.Rows {
				if i > 0 && span.First <= note.Rows[i-1].Last+1 {
					t.Fatalf("%+v behind %+v", span, note.Rows[i-1])
				}
				for row := span.First; row <= span.Last; row++ {
					named = append(named, row)
				}
			}
			if note.Count != int64(len(all)) || len(note.Rows) > spansOfNote || len(named) < len(all) && len(note.Rows) < spansOfNote {
				t.Fatalf("%d in %d spans, want %d", note.Count, len(note.Rows), len(all))
			}
			if !reflect.DeepEqual(named, all[:len(named)]) {
				t.Fatalf("named %v, want %v", named, all)
			}
		}
		if _, err := (&store.Notes{Rows: n.Rows, All: n.All}).Encode(); err != nil {
			t.Fatal(err)
		}
	})
}
