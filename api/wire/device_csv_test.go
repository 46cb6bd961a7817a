package wire_test

import (
	"levinward/tabletext"

	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"io"
	"reflect"
	"slices"
	"strings"
	"testing"

	"levinward/api/wire"
)

// table is everything that came of reading a table.
type table struct {
	devices []*wire.Device
	lines   []int // of the devices
	faults  []wire.RowFault
	fatal   bool
}

// readTable reads a table to its end.
func readTable(t testing.TB, source io.Reader) (all table) {
	t.Helper()
	r, faults, err := wire.NewDeviceReader(source, tabletext.DecimalPoint)
	if err != nil {
		t.Fatal(err)
	}
	if all.faults = faults; len(faults) > 0 {
		all.fatal = true
		return all
	}
	for {
		d, line, faults, fatal, err := r.Next()
		switch {
		case err == io.EOF:
			return all
		case err != nil:
			t.Fatal(err)
		case fatal != nil:
			all.faults, all.fatal = append(all.faults, *fatal), true
			return all
		case len(faults) > 0:
			all.faults = append(all.faults, faults...)
		default:
			all.devices, all.lines = append(all.devices, d), append(all.lines, line)
		}
	}
}

func TestTableOfDevices(t *testing.T) {
	want := wire.Device{Reference: "A-1", Name: "Ümlaut, \"quoted\"", DeviceSheet: wire.DeviceSheet{
		Current: &[]wire.Current{0}, UcAC: ptr(275.0), Up: ptr(1.5), TestClasses: &[]wire.DeviceClass{"I", "II"}, Modes: &[]wire.DeviceMode{"L-N", "N-PE"}},
		Price: ptr(wire.Price("12.50")), Currency: ptr(wire.Currency("XTS"))}
	rows := [][]string{{"price", "reference", "name", "current", "uc_ac_v", "up_kv", "test_classes", "modes", "currency", "iimp_ka"},
		{"12.50", " A-1 ", want.Name, "ac", "275", "1.5", "I | II", "L-N|N-PE", "XTS", ""}, {"", "B", "", "", "", "", "", "", "", ""}}
	for _, separator := range []rune{',', ';', '\t'} {
		for _, mark := range []string{"", "\ufeff"} {
			for _, crlf := range []bool{false, true} {
				var b bytes.Buffer
				b.WriteString(mark)
				w := csv.NewWriter(&b)
				w.Comma, w.UseCRLF = separator, crlf
				if err := w.WriteAll(rows); err != nil {
					t.Fatal(err)
				}
				got := readTable(t, &b)
				if len(got.faults) > 0 || len(got.devices) != 2 || !reflect.DeepEqual(*got.devices[0], want) || !reflect.DeepEqual(*got.devices[1], wire.Device{Reference: "B"}) {
					t.Errorf("separator %q, mark %q: %+v", separator, mark, got)
				}
				if !slices.Equal(got.lines, []int{2, 3}) {
					t.Errorf("lines %v", got.lines)
				}
			}
		}
	}
}

func ptr[T any](v T) *T { return &v }

func TestTemplateCanBeUploaded(t *testing.T) {
	got := readTable(t, bytes.NewReader(wire.DeviceTemplate()))
	if len(got.faults) > 0 || len(got.devices) != 1 || !strings.Contains(got.devices[0].Name, "nvented") {
		t.Fatalf("%+v", got)
	}
	// What a row says, a document says.
	if d, ok := wire.Devices.Decode(encode(t, got.devices[0])); !ok || !reflect.DeepEqual(d, got.devices[0]) {
		t.Errorf("as a document: %v, %+v", ok, d)
	}
}

// A bad table: what is read, and the faults it has, each with line, column and a part of its reason.
func TestBadTables(t *testing.T) {
	long := strings.Repeat("x", wire.MaxDeviceRow)
	for name, test := range map[string]struct {
		text   string
		good   int
		faults []wire.RowFault
		fatal  bool
	}{
		"empty":               {"", 0, []wire.RowFault{{Line: 1, Reason: "empty"}}, true},
		"blank lines":         {"\n\n\n", 0, []wire.RowFault{{Line: 1, Reason: "empty"}}, true},
		"mark only":           {"\ufeff", 0, []wire.RowFault{{Line: 1, Reason: "empty"}}, true},
		"header only":         {"reference\n", 0, nil, false},
		"UTF-16":              {"\xff\xfer\x00e\x00", 0, []wire.RowFault{{Line: 1, Reason: "UTF-16"}}, true},
		"UTF-16 without mark": {"r\x00e\x00f\x00", 0, []wire.RowFault{{Line: 1, Reason: "UTF-16"}}, true},
		"workbook":            {"PK\x03\x04rest", 0, []wire.RowFault{{Line: 1, Reason: "workbook"}}, true},
		"Windows-1252":        {"reference,name\nA,Stra\xdfe\nB,good\n", 1, []wire.RowFault{{Line: 2, Column: "name", Reason: "Windows-1252"}}, false},
		"Windows-1252 header": {"reference,gr\xf6sse\nA,1\n", 0, []wire.RowFault{{Line: 1, Column: "gr\ufffdsse", Reason: "unknown column"}}, true},
		"unknown, double and missing columns": {"name,maker,name\n", 0, []wire.RowFault{{Line: 1, Column: "maker", Reason: "unknown column; allowed: reference, name"},
			{Line: 1, Column: "name", Reason: "stands twice"}, {Line: 1, Column: "reference", Reason: "required"}}, true},
		"upper case column":                        {"Reference\nA\n", 0, []wire.RowFault{{Line: 1, Column: "Reference", Reason: "unknown"}, {Line: 1, Column: "reference", Reason: "required"}}, true},
		"missing reference":                        {"reference,name\n,x\n \t,y\n", 0, []wire.RowFault{{Line: 2, Column: "reference", Reason: "is required"}, {Line: 3, Column: "reference", Reason: "is required"}}, false},
		"decimal comma":                            {"reference;up_kv\nA;1,5\nB;1.5\n", 1, []wire.RowFault{{Line: 2, Column: "up_kv", Value: "1,5", Reason: "has a comma"}}, false},
		"decimal comma, unquoted, separator comma": {"reference,up_kv\nA,1,5\n", 0, []wire.RowFault{{Line: 2, Reason: "3 cells, the header 2; a decimal comma"}}, false},
		"decimal comma in a price":                 {"reference;price;currency\nA;12,50;XTS\n", 0, []wire.RowFault{{Line: 2, Column: "price", Value: "12,50", Reason: "write a decimal point, not a comma"}}, false},
		"too few cells":                            {"reference,name\nA\n", 0, []wire.RowFault{{Line: 2, Reason: "1 cells, the header 2"}}, false},
		"numbers that are none": {"reference,up_kv,in_ka,uc_ac_v,uc_dc_v,imax_ka,iimp_ka,tov_v,max_backup_a\nA,-1,NaN,1e400,Inf,0x1p4,1_0,0,1 000\n", 0, []wire.RowFault{
			{Line: 2, Column: "up_kv", Value: "-1", Reason: "more than 0"}, {Line: 2, Column: "in_ka", Value: "NaN", Reason: "a number"},
			{Line: 2, Column: "uc_ac_v", Value: "1e400", Reason: "at most 10000"}, {Line: 2, Column: "uc_dc_v", Value: "Inf", Reason: "a number"},
			{Line: 2, Column: "imax_ka", Value: "0x1p4", Reason: "a number"}, {Line: 2, Column: "iimp_ka", Value: "1_0", Reason: "a number"},
			{Line: 2, Column: "tov_v", Value: "0", Reason: "more than 0"}, {Line: 2, Column: "max_backup_a", Value: "1 000", Reason: "a number"}}, false},
		"names that are none": {"reference,current,test_classes,modes,technology,connections\nA,AC,II|2,L-X,varistor,CT3\n", 0, []wire.RowFault{
			{Line: 2, Column: "current", Value: "AC", Reason: "one of ac, dc"}, {Line: 2, Column: "test_classes", Value: "II|2", Reason: "one of I, II, III, D1, C2, C1; several parted by |"},
			{Line: 2, Column: "modes", Reason: "L-PEN"}, {Line: 2, Column: "technology", Reason: "limiting, switching, combination"}, {Line: 2, Column: "connections", Reason: "CT1, CT2"}}, false},
		"too many in a list": {"reference,current\nA,ac|dc|ac\n", 0, []wire.RowFault{{Line: 2, Column: "current", Reason: "at most 2"}}, false},
		"prices": {"reference,price,currency\nA,48.50000000000001,XTS\nB,-1,XTS\nC,1e2,XTS\nD,012,XTS\nE,.5,XTS\nF,5.,XTS\nG,12,eur\nH,12,EURO\nI,,XTS\nJ,1,\nK,0,XTS\nL,1234567890123,XTS\n", 1, []wire.RowFault{
			{Line: 2, Column: "price", Reason: "at most 12 before and 4 behind"}, {Line: 3, Column: "price", Reason: "not negative"}, {Line: 4, Column: "price", Reason: "decimal text"},
			{Line: 5, Column: "price", Reason: "decimal text"}, {Line: 6, Column: "price", Reason: "decimal text"}, {Line: 7, Column: "price", Reason: "decimal text"},
			{Line: 8, Column: "currency", Reason: "three capital letters"}, {Line: 9, Column: "currency", Reason: "three capital letters"},
			{Line: 10, Column: "price", Reason: "is needed with a currency"}, {Line: 11, Column: "currency", Reason: "is needed with a price"}, {Line: 13, Column: "price", Reason: "at most 12"}}, false},
		"long texts":          {"reference,name\n" + long[:101] + ",x\nA," + long[:201] + "\n", 0, []wire.RowFault{{Line: 2, Column: "reference", Reason: "1 to 100 characters"}, {Line: 3, Column: "name", Reason: "0 to 200 characters"}}, false},
		"control characters":  {"reference,name\nA,\"two\nlines\"\nB,bell\x07\n", 0, []wire.RowFault{{Line: 2, Column: "name", Reason: "control characters"}, {Line: 4, Column: "name", Reason: "control characters"}}, false},
		"row too long":        {"reference,name\nA," + long + "\nB,good\n", 1, []wire.RowFault{{Line: 2, Reason: "at most 65536"}}, false},
		"row far too long":    {"reference,name\nA," + long + long + "\nB,good\n", 0, []wire.RowFault{{Line: 2, Reason: "longer than 64 kB"}}, true},
		"open quote":          {"reference,name\nA,good\nB,\"open\nC,x\n", 1, []wire.RowFault{{Line: 3, Reason: "a quote is out of place"}}, true},
		"open quote, long":    {"reference,name\nA,good\nB,\"open\n" + strings.Repeat("C,x\n", 100_000), 1, []wire.RowFault{{Line: 3, Reason: "is a quote left open"}}, true},
		"bare quote":          {"reference,name\nA,1\" pipe\nB,x\n", 0, []wire.RowFault{{Line: 2, Reason: "a quote is out of place (line 2, byte 4)"}}, true},
		"quote in the header": {"reference,\"na\"me\nA,x\n", 0, []wire.RowFault{{Line: 1, Reason: "a quote is out of place"}}, true},
	} {
		t.Run(name, func(t *testing.T) {
			got := readTable(t, strings.NewReader(test.text))
			if len(got.devices) != test.good || got.fatal != test.fatal || len(got.faults) != len(test.faults) {
				t.Fatalf("%d devices, fatal %v, faults %+v", len(got.devices), got.fatal, got.faults)
			}
			for i, want := range test.faults {
				f := got.faults[i]
				if f.Line != want.Line || f.Column != want.Column || !strings.Contains(f.Reason, want.Reason) || want.Value != "" && f.Value != want.Value {
					t.Errorf("fault %d is %+v, want %+v", i, f, want)
				}
				if len(f.Value) > 300 {
					t.Errorf("a fault shows %d bytes", len(f.Value))
				}
			}
		})
	}
}

// endless gives the same bytes again and again.
type endless struct {
	text  string
	given int64
	at    int
}

func (e *endless) Read(p []byte) (int, error) {
	n := copy(p, e.text[e.at:])
	e.at = (e.at + n) % len(e.text)
	e.given += int64(n)
	return n, nil
}

func TestEndlessRowIsCut(t *testing.T) {
	for name, text := range map[string]string{"no line end": "x", "open quote": "x\n", "no separator": "reference", "carriage returns": "reference\r"} {
		source := &endless{text: text}
		start := "reference,name\nA,\""
		if name != "open quote" {
			start = ""
		}
		got := readTable(t, io.MultiReader(strings.NewReader(start), source))
		if !got.fatal || source.given > 4*wire.MaxDeviceRow {
			t.Errorf("%s: %d bytes were read: %+v", name, source.given, got.faults)
		}
	}
}

// A source that breaks is an error, not the end of the table.
func TestBrokenSource(t *testing.T) {
	broken := errors.New("broken")
	for _, text := range []string{"", "refer", "reference,name\nA,x\n", "reference,name\nA,x", "reference,name\nA,\"x"} {
		r, faults, err := wire.NewDeviceReader(io.MultiReader(strings.NewReader(text), failing{broken}), tabletext.DecimalPoint)
		for err == nil && len(faults) == 0 {
			_, _, _, fatal, e := r.Next()
			if fatal != nil {
				t.Fatalf("%q: %+v", text, fatal)
			}
			err = e
		}
		if !errors.Is(err, broken) {
			t.Errorf("%q: %v, %v", text, faults, err)
		}
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// FuzzTableOfDevices holds the reader to what must hold for any bytes: it ends, each fault has a place and a
// reason, a device that is taken is one that the contract takes as a document too, and is read again from what is written of it.
func FuzzTableOfDevices(f *testing.F) {
	f.Add([]byte("reference,name,up_kv\nA,x,1.5\n"))
	f.Add([]byte("\xef\xbb\xbfreference;price;currency\r\nA;1,5;XTS\r\n\"B\"\"\";12.50;EUR\r\n"))
	f.Add(wire.DeviceTemplate())
	f.Add([]byte("reference\tmodes\nA\tL-N|N-PE\nB\t\"open"))
	f.Add([]byte("reference,name\n\xff,\x00\n"))
	device := schema(f, "Device")
	f.Fuzz(func(t *testing.T, text []byte) {
		got := readTable(t, bytes.NewReader(text))
		for _, fault := range got.faults {
			if fault.Line < 1 || fault.Reason == "" {
				t.Errorf("a fault without place or reason: %+v", fault)
			}
		}
		var again bytes.Buffer
		w := csv.NewWriter(&again)
		w.Write([]string{"name", "reference"})
		for _, d := range got.devices {
			doc := encode(t, d)
			if err := device.VisitJSON(tree(t, doc)); err != nil {
				t.Fatalf("the contract refuses %s: %v", doc, err)
			}
			if back, ok := wire.Devices.Decode(doc); !ok || !reflect.DeepEqual(back, d) {
				t.Fatalf("as a document: %v, %s", ok, doc)
			}
			w.Write([]string{d.Name, d.Reference})
		}
		w.Flush()
		if back := readTable(t, &again); len(back.faults) > 0 || len(back.devices) != len(got.devices) {
			t.Fatalf("written and read again: %+v", back.faults)
		}
	})
}

// TestDeviceDocuments holds the decoder of documents to the contract for values at the edge.
func TestDeviceDocuments(t *testing.T) {
	for text, ok := range map[string]bool{
		`{"reference": "A"}`: true, `{}`: false, `{"reference": ""}`: false, `{"reference": "A", "price": "12.50", "currency": "XTS"}`: true,
		`{"reference": "A", "price": 12.5, "currency": "XTS"}`: false, `{"reference": "A", "price": "12.50000000001", "currency": "XTS"}`: false,
		`{"reference": "A", "currency": "xts"}`: false, `{"reference": "A", "up_kv": 0}`: false, `{"reference": "A", "up_kv": 100}`: true,
		`{"reference": "A", "modes": []}`: false, `{"reference": "A", "modes": ["L-L"]}`: false, `{"reference": "A", "maker": "x"}`: false,
		`{"reference": "A", "test_classes": ["I", "II"]}`: true, `{"reference": "A", "technology": null}`: false,
	} {
		_, got := wire.Devices.Decode([]byte(text))
		if contract := schema(t, "Device").VisitJSON(tree(t, []byte(text))) == nil; got != ok || contract != ok {
			t.Errorf("%s: decoded %v, the contract takes it %v, want %v", text, got, contract, ok)
		}
	}
	var p wire.Price
	if err := json.Unmarshal([]byte(`"1.2.3"`), &p); err == nil {
		t.Error("1.2.3 is a price")
	}
}
