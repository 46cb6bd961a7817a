package batch

import "strings"

// didYouMean is the end of a sentence that names the nearest of the names, empty where none is near.
func didYouMean(word string, names []string) string {
	if s := nearest(word, names); s != "" {
		return "; did you mean " + s + "?"
	}
	return ""
}

const longestSuggested = 60 // letters of a word for which a near name is looked for

// nearest finds the name that a word was probably meant to be.
func nearest(word string, names []string) string {
	word = strings.ToLower(strings.NewReplacer(" ", "_", "-", "_").Replace(word))
	if word == "" || len(word) > longestSuggested {
		return ""
	}
	best, least := "", len(word)/3
	for _, n := range names {
		if d := editDistance(word, strings.ToLower(n)); d <= least && (best == "" || d < least) {
			best, least = n, d
		}
	}
	if best != "" || len(word) < 3 {
		return best
	}
	for _, n := range names {
		if strings.HasPrefix(strings.ToLower(n), word) || strings.HasPrefix(word, strings.ToLower(n)) {
			return n
		}
	}
	return ""
}

// editDistance is the least number of letters to insert, remove or replace that makes b of a.
func editDistance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			d := diagonal
			if a[i] != b[j] {
				d++
			}
			diagonal = row[j+1]
			row[j+1] = min(d, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
