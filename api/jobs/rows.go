package jobs

import (
	"bytes"
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"levinward/api/assess"
	"levinward/api/batch"
	"levinward/api/wire"
	"levinward/risk"
	"levinward/store"
)

// row is a line of a chunk: a row of a file with its input, or a site to be assessed again.
type row struct {
	Row        int64           `json:"row,omitempty"`
	Input      json.RawMessage `json:"input,omitempty"`
	Assessment string          `json:"assessment,omitempty"`

	line []byte // as it stands in the chunk
}

// appendInput writes the line of an input, which stays as it is byte for byte.
func appendInput(rows []byte, number int64, canonical []byte) []byte {
	rows = append(rows, `{"row":`...)
	rows = strconv.AppendInt(rows, number, 10)
	rows = append(rows, `,"input":`...)
	rows = append(rows, bytes.TrimSuffix(canonical, []byte("\n"))...)
	return append(rows, "}\n"...)
}

// appendSite writes the line of a site to be assessed again.
func appendSite(rows []byte, number int64, assessment string) []byte {
	return fmt.Appendf(rows, "{\"row\":%d,\"assessment\":%q}\n", number, assessment)
}

// parseRows reads the lines of a chunk.
func parseRows(lines []byte) ([]row, error) {
	var rows []row
	for len(lines) > 0 {
		end := bytes.IndexByte(lines, '\n') + 1
		if end == 0 {
			return nil, fmt.Errorf("a line of a chunk has no end")
		}
		r := row{line: lines[:end]}
		if err := json.Unmarshal(r.line, &r); err != nil {
			return nil, fmt.Errorf("line of a chunk: %w", err)
		}
		rows, lines = append(rows, r), lines[end:]
	}
	return rows, nil
}

// canonical is the input as it is stored and hashed.
func (r *row) canonical() []byte { return append(slices.Clip([]byte(r.Input)), '\n') }

// Limits of a chunk: what is computed and stored together.
const (
	rowsOfChunk  = 250
	bytesOfChunk = 1 << 20
)

// faultsOfRow bounds how many faults of one row are kept.
const faultsOfRow = 50

// faultsOf writes violations of an input as faults of the row that it is from.
func faultsOf(number int64, in *wire.Input, violations []risk.Violation) []store.Fault {
	faults := make([]store.Fault, 0, len(violations))
	for _, v := range violations {
		reason := v.Reason
		if v.Clause != "" {
			reason += " (" + v.Clause + ")"
		}
		column := cmp.Or(batch.ColumnAt(v.Pointer), v.Pointer)
		faults = append(faults, fault(number, column, textAt(in, v.Pointer), reason))
	}
	return bounded(faults)
}

// textAt is the single value that stands at a place of an input, empty where there is none.
func textAt(in *wire.Input, pointer string) string {
	doc, _, err := assess.Canonical(in)
	var v any
	if err != nil || json.Unmarshal(doc, &v) != nil {
		return ""
	}
	for _, key := range strings.Split(pointer, "/")[1:] {
		switch x := v.(type) {
		case map[string]any:
			v = x[key]
		case []any:
			i, err := strconv.Atoi(key)
			if err != nil || i < 0 || i >= len(x) {
				return ""
			}
			v = x[i]
		default:
			return ""
		}
	}
	switch v.(type) {
	case string, float64, bool:
		return fmt.Sprint(v)
	}
	return ""
}

func bounded(faults []store.Fault) []store.Fault {
	if len(faults) > faultsOfRow {
		faults[faultsOfRow-1] = fault(faults[0].Row, "", "", fmt.Sprintf("and %d more faults", len(faults)-faultsOfRow+1))
		faults = faults[:faultsOfRow]
	}
	return faults
}

func fault(number int64, column, value, reason string) store.Fault {
	return store.Fault{Row: number, Column: storable(column), Value: storable(value), Reason: storable(reason)}
}

// storable is a text without what a database cannot keep, at most 1000 bytes long.
func storable(text string) string {
	const most = 1000
	text = strings.ReplaceAll(strings.ToValidUTF8(text, "\uFFFD"), "\x00", "\uFFFD")
	if len(text) <= most {
		return text
	}
	cut := most
	for !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut] + "…"
}

// decode reads a stored input, also one that an earlier program stored.
func decode(canonical []byte) (*wire.Input, error) {
	in, ok := wire.Decode(canonical)
	if !ok {
		// What an earlier program stored may be beyond today's limits.
		in = new(wire.Input)
		d := json.NewDecoder(bytes.NewReader(canonical))
		d.DisallowUnknownFields()
		if err := d.Decode(in); err != nil || in.Location == nil || in.Location.Latitude == nil || in.Location.Longitude == nil {
			return nil, fmt.Errorf("the input is none that this program takes: %v", err)
		}
	}
	return in, nil
}
