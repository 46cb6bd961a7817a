package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode/utf8"

	"levinward/api/wire"
)

// pageWidth is how wide a line may be; none is ever wider.
const pageWidth = 80

// page writes a text for a person. The first error stops it.
type page struct {
	w      io.Writer
	r      *wire.Result
	stress *wire.StressResult
	err    error
}

func (p *page) print(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format, args...)
	}
}

func (p *page) title(text string) { p.print("\n%s\n", text) }

// wrapped writes a text in lines of the page's width, each after the indent. A word wider than the page is broken.
func (p *page) wrapped(first, indent, text string) {
	line, empty := first, strings.TrimSpace(first) == ""
	for _, word := range strings.FieldsFunc(text, isBreak) {
		for {
			room := pageWidth - utf8.RuneCountInString(line)
			wide := utf8.RuneCountInString(word)
			if wide <= room {
				break
			}
			if !empty {
				p.print("%s\n", strings.TrimRight(line, " "))
				line, empty = indent, true
				continue
			}
			runes := []rune(word)
			p.print("%s%s\n", line, string(runes[:room]))
			word, line = string(runes[room:]), indent
		}
		line, empty = line+word+" ", false
	}
	if line = strings.TrimRight(line, " "); line != "" {
		p.print("%s\n", line)
	}
}

// isBreak reports where a line may be broken: not at the thin space within a number.
func isBreak(r rune) bool { return r == ' ' || r == '\n' || r == '\t' }

// table writes rows in aligned columns below their titles; where that is too wide, each row as a list of its cells.
func (p *page) table(indent string, rows [][]string) {
	widths := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, cell := range row {
			widths[i] = max(widths[i], utf8.RuneCountInString(cell))
		}
	}
	total := len(indent) - 2
	for _, w := range widths {
		total += w + 2
	}
	if total > pageWidth {
		p.rows(indent, rows)
		return
	}
	for _, row := range rows {
		line := indent
		for i, cell := range row {
			line += cell + strings.Repeat(" ", widths[i]-utf8.RuneCountInString(cell)+2)
		}
		p.print("%s\n", strings.TrimRight(line, " "))
	}
}

// wideTable writes rows in aligned columns, however wide: a reference is searched, not read.
func (p *page) wideTable(rows [][]string) {
	if p.err != nil {
		return
	}
	t := tabwriter.NewWriter(p.w, 0, 0, 2, ' ', 0)
	for _, r := range rows {
		fmt.Fprintln(t, "  "+strings.Join(r, "\t"))
	}
	p.err = t.Flush()
}

// rows writes a table that is too wide row by row.
func (p *page) rows(indent string, rows [][]string) {
	for _, row := range rows[1:] {
		var cells []string
		for i, cell := range row[1:] {
			if cell != "" {
				cells = append(cells, rows[0][i+1]+": "+cell)
			}
		}
		p.wrapped(indent, indent+"  ", row[0]+": "+strings.Join(cells, "; "))
	}
}

func (p *page) list(title string, texts []string) {
	if len(texts) == 0 {
		return
	}
	p.title(title)
	for _, t := range texts {
		p.wrapped("  - ", "    ", readable(t))
	}
}

// grouped are names with the same text, in the order in which the texts came.
type grouped []sameText

type sameText struct {
	text  string
	names []string
}

func (g *grouped) add(text, name string) {
	for i := range *g {
		if (*g)[i].text == text {
			(*g)[i].names = append((*g)[i].names, name)
			return
		}
	}
	*g = append(*g, sameText{text, []string{name}})
}

func words(name string) string { return strings.ReplaceAll(name, "_", " ") }
