package batch

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/xuri/excelize/v2"
)

// sharing is a workbook whose cells refer to a list of texts, which write fills.
func sharing(t testing.TB, sheet string, write func(w io.Writer)) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	const link = `<Relationship Id="r%" Type="x/$" Target="&"/>`
	of := func(n, kind, target string) string {
		return strings.NewReplacer("%", n, "$", kind, "&", target).Replace(link)
	}
	for _, p := range [][2]string{
		{"_rels/.rels", "<Relationships>" + of("1", "officeDocument", "xl/workbook.xml") + "</Relationships>"},
		{"xl/workbook.xml", `<workbook xmlns:r="x"><sheets><sheet name="sites" r:id="r1"/></sheets></workbook>`},
		{"xl/_rels/workbook.xml.rels", "<Relationships>" + of("1", "worksheet", "worksheets/sheet1.xml") + of("2", "sharedStrings", "sharedStrings.xml") + "</Relationships>"},
		{"xl/worksheets/sheet1.xml", sheet},
	} {
		w, err := z.Create(p[0])
		must(t, err)
		io.WriteString(w, p[1])
	}
	w, err := z.Create("xl/sharedStrings.xml")
	must(t, err)
	io.WriteString(w, "<sst>")
	write(w)
	io.WriteString(w, "</sst>")
	must(t, z.Close())
	return b.Bytes()
}

// repeat writes a text n times, many at once.
func repeat(w io.Writer, text string, n int) {
	many := max(1, 1<<20/len(text))
	block := []byte(strings.Repeat(text, many))
	for ; n > 0; n -= many {
		w.Write(block[:len(text)*min(n, many)])
	}
}

// mostMemory is the most that the heap took of the system while do ran, over what it held before.
func mostMemory(do func()) int64 {
	held := func() int64 {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return int64(m.HeapSys - m.HeapReleased)
	}
	debug.FreeOSMemory()
	before, done := held(), make(chan bool)
	most := make(chan int64)
	go func() {
		peak := before
		for {
			select {
			case <-done:
				most <- max(peak, held()) - before
				return
			case <-time.After(5 * time.Millisecond):
				peak = max(peak, held())
			}
		}
	}()
	do()
	close(done)
	return <-most
}

// TestTextsWithoutEnd holds the memory of lists of texts, which pack to next to nothing, below 200 MB.
func TestTextsWithoutEnd(t *testing.T) {
	for _, c := range []struct {
		name, item string
		n          int
		want       string
	}{
		{"many", "<si><t>hello world</t></si>", 6_000_000, "more than 4194304 different texts"},
		{"blank", "<si/>", 6_000_000, "more than 4194304 different texts"},
		{"long", "<si><t>" + strings.Repeat("x", 30_000) + "</t></si>", 3_000, "more than 67108864 bytes of different texts"},
		{"nested", "<si>", 10_000, "elements within elements without end"},
		{"one without end", "<si><t>" + strings.Repeat("x", 3<<20), 1, "text 1 of the list of texts that cells share (xl/sharedStrings.xml) takes more than 2097152 bytes; a cell may have 65536"},
	} {
		t.Run(c.name, func(t *testing.T) {
			file := sharing(t, `<worksheet><sheetData/></worksheet>`, func(w io.Writer) { repeat(w, c.item, c.n) })
			var err error
			grown := mostMemory(func() { _, err = readAll(file, Options{Format: XLSX}) })
			if err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v", err)
			}
			if grown > 200e6 {
				t.Errorf("a file of %d bytes takes %d", len(file), grown)
			}
		})
	}
}

// TestSharedTextsAreKept reads texts of many lengths back, across the blocks they are kept in.
func TestSharedTextsAreKept(t *testing.T) {
	var want []string
	for i := range 200_000 {
		want = append(want, strconv.Itoa(i)+strings.Repeat("ä", i*7%90))
	}
	want[1000] = strings.Repeat("z", maxRowBytes)
	var texts sharedTexts
	must(t, texts.read(strings.NewReader("<sst><si><t>"+strings.Join(want, "</t></si><si><t>")+"</t></si></sst>"), "texts"))
	if texts.count() != len(want) {
		t.Fatalf("%d texts", texts.count())
	}
	for i := range want {
		if got := texts.at(i); got != want[i] {
			t.Fatalf("text %d is %q, want %q", i, short(got), short(want[i]))
		}
	}
}

// sheetXML is a sheet with the usual header, and rows as they are given.
func sheetXML(rows string) string {
	var b strings.Builder
	b.WriteString(`<worksheet><sheetData><row r="1">`)
	for _, h := range usualHeader {
		b.WriteString(`<c t="str"><v>` + h.(string) + `</v></c>`)
	}
	return b.String() + `</row>` + rows + `</sheetData></worksheet>`
}

// TestLongCells wants row, column and limit of a text that no cell may have, and the rows after it.
func TestLongCells(t *testing.T) {
	const limit = "is longer than 65536 bytes, the most that a cell may have"
	after := `<row r="4"><c r="B4" t="str"><v>Invented</v></c></row>`
	for name, file := range map[string][]byte{
		"shared": sharing(t, sheetXML(`<row r="3"><c r="B3" t="s"><v>1</v></c></row>`+after), func(w io.Writer) {
			io.WriteString(w, "<si><t>not used</t></si><si><t>"+strings.Repeat("ä", 400_000)+"</t></si>")
		}),
		"shared spaces": sharing(t, sheetXML(`<row r="3"><c r="B3" t="s"><v>0</v></c></row>`+after), func(w io.Writer) {
			io.WriteString(w, "<si><t>"+strings.Repeat(" ", 400_000)+"x</t></si>")
		}),
		"in the cell": workbookOf(t, sheetXML(`<row r="3"><c r="B3" t="inlineStr"><is><t>`+strings.Repeat("x", 400_000)+`</t></is></c></row>`+after)),
	} {
		rows, err := readAll(file, Options{Format: XLSX})
		must(t, err)
		if len(rows) != 2 || rows[1].Number != 4 {
			t.Fatalf("%s: rows %v", name, rows)
		}
		if !slices.ContainsFunc(rows[0].Faults, func(f RowFault) bool {
			return f.Row == 3 && f.Column == "name" && f.Reason == limit && len(f.Value) < 1000
		}) {
			t.Errorf("%s: faults %v", name, rows[0].Faults)
		}
	}
}

// TestFaultsOfFiles names of each file what is wrong with it as a whole, and where.
func TestFaultsOfFiles(t *testing.T) {
	const header = "reference,name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m\n"
	const row = "A,Invented,-3.117,86.683,9.4,18,9,5.5\n"
	long := strings.Repeat("x", 5<<20)
	csvFile, xlsx, geojson := Options{Format: CSV}, Options{Format: XLSX}, Options{Format: GeoJSON}
	longRow := `row 3, column "name": with this cell the row is longer than 65536 bytes, the most that a row may have`
	openQuote := "; the cell begins with a quote: is there one that ends it?"
	for _, c := range []struct {
		name string
		file []byte
		o    Options
		want string
	}{
		{"header only", []byte(header), csvFile, "the file has a header and no rows"},
		{"header and blank rows", []byte(header + ",,,,,,,\n\n"), csvFile, "the file has a header and no rows"},
		{"sheet of a header only", sheetOf(t, 0, nil), xlsx, `sheet "sites": has a header and no rows`},
		{"no feature", []byte(`{"type":"FeatureCollection","features":[]}`), geojson, "the collection has no features"},
		{"blank features", []byte(`{"type":"FeatureCollection","features":[{"type":"Feature","geometry":null,"properties":{}}]}`), geojson, "the collection has no features but blank ones"},

		{"rows without number", workbookOf(t, sheetXML(strings.Repeat("<row/>", 1<<20))), xlsx, `sheet "sites", row 1048576: is followed by more rows, and a sheet has at most 1048576: save the file again`},
		{"number of a row", workbookOf(t, sheetXML(`<row r="1048577"/>`)), xlsx, `sheet "sites", row 1: is followed by a row of number "1048577"; numbers rise, to at most 1048576: save the file again`},

		{"long cell", []byte(header + row + "B," + long + ",1,2,3,4,5,6\n"), csvFile, longRow},
		{"long cell after quotes", []byte(header + row + `"B ""b""",` + long + ",1,2,3,4,5,6\n"), csvFile, longRow},
		{"long cell in quotes", []byte(header + row + `B,"` + long + "\",1,2,3,4,5,6\n"), csvFile, longRow + openQuote},
		{"quote without end", []byte(header + row + `B,"Invented,` + strings.Repeat("1,2,3\n", 50_000)), csvFile, longRow + openQuote},
		{"just too long", []byte(header + row + "B," + strings.Repeat("x", maxRowBytes) + ",1,2,3,4,5,6\n" + row), csvFile, longRow},
		{"long cell late in a file", []byte(header + strings.Repeat(row, 10_000) + "B,Invented," + long), csvFile, `row 10002, column "latitude": with this cell`},
		{"blank lines", []byte(header + row + strings.Repeat("\r\n", 50_000) + row), csvFile, "row 2: is followed by more than 65536 bytes of blank lines: remove them"},
		{"blank lines without end", []byte(header + row + strings.Repeat("\n", 1<<20)), csvFile, "row 2: is followed by more than 65536 bytes of blank lines: remove them"},
		{"long header", []byte("name," + long), csvFile, `row 1, column "2": with this cell`},
		{"long cells of a sheet", workbookOf(t, sheetXML(`<row r="3"><c t="str"><v>`+strings.Repeat("x",
			40_000)+`</v></c><c t="str"><v>`+strings.Repeat("y", 40_000)+`</v></c></row>`)), xlsx,
			`sheet "sites", row 3, column "name": with this cell the texts of the row are longer than 65536 bytes, the most that a row may have`},
		{"cell beyond all", workbookOf(t, sheetXML(`<row r="3"><c r="C3" t="str"><v>`+long+`</v></c></row>`)), xlsx,
			`sheet "sites", row 3, column "latitude": with this cell the row takes more than 1048576 bytes of the sheet; a cell may have 65536`},

		{"CR", []byte(strings.ReplaceAll(header+row, "\n", "\r")), csvFile, "its lines end with carriage returns alone (CR): save it with line ends of LF or CR LF"},
		{"separator that is none", []byte("sep=|\n" + header), csvFile, `the first line names the separator "|": it must be a comma, a semicolon or a tab`},
		{"separator and nothing else", []byte("sep=;"), csvFile, "the file has no row but blank ones"},

		{"GeoJSON in Windows-1252", []byte("{\"type\":\"FeatureCollection\",\n\"name\":\"caf\xe9\"}"), geojson, "line 2 is not in UTF-8 (byte 0xE9, as in Windows-1252 and other one-byte encodings); write the file in UTF-8, the only encoding of GeoJSON"},
		{"GeoJSON in UTF-16", []byte("\xff\xfe{\x00}\x00"), geojson, "the text is in UTF-16; write the file in UTF-8, the only encoding of GeoJSON"},
		{"archive as GeoJSON", sheetOf(t, 1, nil), geojson, "this is a spreadsheet or another archive, no text: choose the format XLSX for a spreadsheet, or unpack the archive"},
	} {
		t.Run(c.name, func(t *testing.T) {
			rows, err := readAll(c.file, c.o)
			var whole *FileError
			if !errors.As(err, &whole) || !strings.HasPrefix(err.Error(), c.want) ||
				strings.Contains(err.Error(), "quote") != strings.Contains(c.want, "quote") {
				t.Errorf("%d rows, error %.300v, want %s", len(rows), err, c.want)
			}
		})
	}
}

// TestFileWithSeparatorHint gives the same rows as without the first line, of the same numbers.
func TestFileWithSeparatorHint(t *testing.T) {
	plainFile, err := os.ReadFile(filepath.Join(importDir, "good.csv"))
	must(t, err)
	o := Options{Format: CSV, Presets: testPresets(t)}
	want := report(plainFile, o)
	for _, hint := range []string{"sep=,\n", "sep=,\r\n", "SEP=,\n", "\"sep=,\"\r\n", "\xef\xbb\xbfsep=,\r\n"} {
		if got := report(append([]byte(hint), plainFile...), o); got != want {
			t.Errorf("%q gives\n%s", hint, got)
		}
	}
	// A name of a column with commas in it does not mislead, and lines count as they stand in the file.
	file := "sep=;\nname;latitude;longitude;ground_flashes_per_km2_year;length_m;width_m;height_m;remark\n" +
		"Invented;-3.117;86.683;9.4;18;9;5.5;a,b,c,d,e,f,g,h,i\nInvented;\"x\ny\";\"z\"z\n"
	got := report([]byte(file), o)
	if !strings.Contains(got, "row 2: accepted, Invented\n") || !strings.Contains(got, "row 3: has a cell in quotes") ||
		!strings.Contains(got, "down to line 5 was taken") {
		t.Error(got)
	}
}

// TestNumbersThatAreNone says that a number is wanted where something else stands.
func TestNumbersThatAreNone(t *testing.T) {
	const header = "name,latitude,longitude,ground_flashes_per_km2_year,length_m,width_m,height_m\n"
	rows, err := readAll([]byte(header+"Invented,TRUE,E,9.4,18,9,3°\nInvented,3.1 S,2,\"7,6\",18,9,3\n"), Options{Format: CSV})
	must(t, err)
	sheet, err := readAll(sheetOf(t, 1, func(f *excelize.File, s string) { must(t, f.SetCellValue(s, "C2", true)) }), Options{Format: XLSX})
	must(t, err)
	var got []string
	for _, r := range slices.Concat(rows, sheet) {
		for _, f := range r.Faults {
			got = append(got, f.String())
		}
	}
	want := []string{
		`row 2, latitude "TRUE": is a text, not a number; must be a number from -90 to 90`,
		`row 2, longitude "E": is a text, not a number; must be a number from -180 to 180`,
		`row 2, height_m "3°": is no number: write digits only, without unit and without anything between thousands; must be a number, more than 0 and at most 1000`,
		`row 3, latitude "3.1 S": must be in decimal degrees, south and west negative: -3.117, not 3°07'01"S; must be a number from -90 to 90`,
		`row 3, ground_flashes_per_km2_year "7,6": has a comma, which may stand before decimals or between thousands: write 1234.5, or say that the file has decimal commas (decimal=comma in the request, -decimal comma on the command line); must be a number from 0.01 to 100`,
		`row 2, latitude "true": is true or false, not a number; must be a number from -90 to 90`,
	}
	if !slices.Equal(got, want) {
		t.Errorf("%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if got := (RowFault{Reason: "the file is empty"}).String(); got != "the file is empty" {
		t.Errorf("a fault of the whole file: %q", got)
	}
}

// TestLimitOfTheReader keeps apart a file that is too large and one whose reader has a limit of its own, at the same length.
func TestLimitOfTheReader(t *testing.T) {
	for _, format := range []Format{CSV, XLSX, GeoJSON} {
		file := manyRows(t, format, 2000)
		for _, most := range []int64{1000, int64(len(file)) - 1} {
			for name, r := range map[string]io.Reader{"whole": bytes.NewReader(file), "in pieces": iotest.HalfReader(bytes.NewReader(file))} {
				limited := http.MaxBytesReader(nil, io.NopCloser(r), most)
				err := Read(limited, Options{Format: format, MaxBytes: most}, func(Row) bool { return true })
				var beyond *http.MaxBytesError
				if !errors.As(err, &beyond) {
					t.Errorf("%s %s of %d bytes: %v", format, name, most, err)
				}
			}
		}
		limited := http.MaxBytesReader(nil, io.NopCloser(bytes.NewReader(file)), int64(len(file)))
		must(t, Read(limited, Options{Format: format, MaxBytes: int64(len(file))}, func(Row) bool { return true }))
	}
}
