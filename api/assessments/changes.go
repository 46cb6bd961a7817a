package assessments

import (
	"encoding/json"
	"maps"
	"reflect"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"levinward/api/assess"
	"levinward/api/protocol"
	"levinward/api/wire"
	"levinward/store"
)

// change is one value that differs between two revisions. A value that is not there is null.
type change struct {
	Pointer string `json:"pointer"`
	Before  any    `json:"before"`
	After   any    `json:"after"`
}

// changes answers what differs between two revisions; without parameters between the last two.
func (s *Service) changes(c echo.Context) error {
	ctx, id := c.Request().Context(), c.Param("id")
	numbers, err := protocol.QueryRevisions(c, "from", "to")
	if err != nil {
		return err
	}
	from, to := numbers[0], numbers[1]
	if to == 0 {
		newest, err := s.Store.Newest(ctx, store.Local, id)
		if err != nil {
			return err
		}
		to = newest.Revision
	}
	if from == 0 {
		from = max(to-1, 1)
	}
	before, err := s.Store.Revision(ctx, store.Local, id, from)
	if err != nil {
		return err
	}
	after, err := s.Store.Revision(ctx, store.Local, id, to)
	if err != nil {
		return err
	}
	inputs, err := differences(before.Input, after.Input)
	if err != nil {
		return err
	}
	results, err := differences(before.Result, after.Result, "id", "revision", "created_at", "input", "input_hash")
	if err != nil {
		return err
	}
	return protocol.Answer(c, map[string]any{"from": from, "to": to, "inputs": inputs, "results": results, "cautions": assess.Cautions()})
}

// differences compares two documents, without some fields of the outermost object.
func differences(before, after []byte, without ...string) ([]change, error) {
	var b, a map[string]any
	if err := json.Unmarshal(before, &b); err != nil {
		return nil, err
	}
	if err := json.Unmarshal(after, &a); err != nil {
		return nil, err
	}
	for _, name := range without {
		delete(b, name)
		delete(a, name)
	}
	return compare([]change{}, b, a, ""), nil
}

// compare descends while both sides are objects or both are lists.
func compare(found []change, before, after any, pointer string) []change {
	switch b := before.(type) {
	case map[string]any:
		if a, ok := after.(map[string]any); ok {
			keys := maps.Clone(b)
			maps.Copy(keys, a)
			for _, k := range slices.Sorted(maps.Keys(keys)) {
				found = compare(found, b[k], a[k], pointer+"/"+wire.Escape(k))
			}
			return found
		}
	case []any:
		if a, ok := after.([]any); ok {
			for i := range max(len(a), len(b)) {
				found = compare(found, entry(b, i), entry(a, i), pointer+"/"+strconv.Itoa(i))
			}
			return found
		}
	}
	if reflect.DeepEqual(before, after) {
		return found
	}
	return append(found, change{pointer, before, after})
}

func entry(list []any, i int) any {
	if i < len(list) {
		return list[i]
	}
	return nil
}
