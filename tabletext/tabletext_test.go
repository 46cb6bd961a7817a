package tabletext

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"io"
	"math"
	"strconv"
	"strings"
	"testing"
)

func TestNumber(t *testing.T) {
	for _, c := range []struct {
		text    string
		decimal Decimal
		want    float64
		fault   string
	}{
		{"1.5", DecimalPoint, 1.5, ""}, {"-3", "", -3, ""}, {"+2e3", DecimalPoint, 2000, ""}, {"\u22124.25", DecimalPoint, -4.25, ""},
		{"1,5", DecimalComma, 1.5, ""}, {"12", DecimalComma, 12, ""}, {".5", DecimalPoint, 0.5, ""},
		{"1,234", DecimalPoint, 0, "has a comma"}, {"1.234", DecimalComma, 0, "has a point"}, {"1,2,3", DecimalComma, 0, "is no number"},
		{"NaN", DecimalPoint, 0, "is a text"}, {"Inf", DecimalPoint, 0, "is a text"}, {"0x1p3", DecimalPoint, 0, "is no number"},
		{"1_0", DecimalPoint, 0, "is no number"}, {"12 m", DecimalPoint, 0, "is no number"}, {"1e400", DecimalPoint, 0, "out of range"},
		{"", DecimalPoint, 0, "is no number"}, {"e5", DecimalPoint, 0, "is no number"}, {"--1", DecimalPoint, 0, "is no number"},
	} {
		got, fault := Number(c.text, c.decimal)
		if got != c.want || (fault == "") != (c.fault == "") || !strings.Contains(fault, c.fault) {
			t.Errorf("%q (%s) is %v, %q; want %v, %q", c.text, c.decimal, got, fault, c.want, c.fault)
		}
	}
}

// FuzzSkip demands that what follows the beginning of a table is what encoding/csv reads with the separator that was found.
func FuzzSkip(f *testing.F) {
	for _, seed := range []string{"a,b\n1,2\n", "\xef\xbb\xbfsep=;\na;b\n", "sep=x\n", "a\tb\r\n",
		"\"a;b\";c\r", "\xff\xfea", "PK\x03\x04", ""} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r := bufio.NewReader(bytes.NewReader(text))
		start, fault, err := Skip(r)
		if err != nil {
			t.Fatal(err)
		}
		if fault != "" {
			return
		}
		rest, err := io.ReadAll(r)
		if err != nil || !bytes.HasSuffix(text, rest) || bytes.HasPrefix(rest, Mark) && bytes.HasPrefix(text, Mark) && len(rest) == len(text) {
			t.Fatalf("%q is left of %q (%v)", rest, text, err)
		}
		if start.Hint > 0 && !strings.Contains(strings.ToLower(string(text)), "sep=") || start.Lines > 1 {
			t.Fatalf("%+v of %q", start, text)
		}
		c := csv.NewReader(bytes.NewReader(rest))
		c.Comma = start.Comma
		if _, err := c.Read(); err == csv.ErrFieldCount {
			t.Fatal(err)
		}
	})
}

// FuzzNumber holds Number against strconv.
func FuzzNumber(f *testing.F) {
	for _, seed := range []string{"1.5", "1,5", "-2e3", "NaN", "1e400", "0x10"} {
		f.Add(seed, true)
	}
	f.Fuzz(func(t *testing.T, text string, comma bool) {
		decimal := DecimalPoint
		if comma {
			decimal = DecimalComma
			text = strings.Replace(text, ".", ",", 1)
		}
		v, fault := Number(text, decimal)
		if fault != "" {
			return
		}
		want, err := strconv.ParseFloat(strings.Replace(strings.Replace(text, ",", ".", 1), "\u2212", "-", 1), 64)
		if err != nil || v != want || math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("%q is %v, strconv says %v, %v", text, v, want, err)
		}
	})
}
