package api_test

import (
	"encoding/json"
	"strconv"
	"testing"

	"levinward/store/storetest"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// numbersOf lists the pointers of all numbers in a body.
func numbersOf(t testing.TB, body []byte) (pointers []string) {
	t.Helper()
	var doc any
	if err := json.Unmarshal(body, &doc); err != nil {
		t.Fatal(err)
	}
	var walk func(pointer string, at any)
	walk = func(pointer string, at any) {
		switch v := at.(type) {
		case float64:
			pointers = append(pointers, pointer)
		case map[string]any:
			for key, e := range v {
				walk(pointer+"/"+key, e)
			}
		case []any:
			for i, e := range v {
				walk(pointer+"/"+strconv.Itoa(i), e)
			}
		}
	}
	walk("", doc)
	return pointers
}
