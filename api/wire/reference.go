package wire

// ReferenceValue is one table value or formula that the program computes with, and what a reader says of it.
type ReferenceValue struct {
	Key        string       `json:"key"`
	Kind       string       `json:"kind"`
	Clause     string       `json:"clause"`
	Table      string       `json:"table,omitempty"`
	Row        string       `json:"row"`
	Column     string       `json:"column"`
	Value      *float64     `json:"value,omitempty"`
	Unit       string       `json:"unit,omitempty"`
	Formula    string       `json:"formula,omitempty"`
	Provenance string       `json:"provenance"`
	Remark     string       `json:"remark,omitempty"`
	Review     *ValueReview `json:"review,omitempty"`
}

// ValueReview is what a reader of the printed standard says of a value or formula.
type ValueReview struct {
	Agrees    bool     `json:"agrees"`
	Printed   *float64 `json:"printed_value,omitempty"`
	CheckedBy string   `json:"checked_by"`
	Date      string   `json:"date"`
	Comment   string   `json:"comment,omitempty"`
}

// MarkCounts is a number of values or formulas by mark.
type MarkCounts struct {
	Checked         int `json:"checked"`
	SecondarySource int `json:"secondary_source"`
	Memory          int `json:"memory"`
	CommonPractice  int `json:"common_practice"`
	Computed        int `json:"computed"`
	Assumed         int `json:"assumed"`
	Given           int `json:"given"`
	Total           int `json:"total"`
}

// ReferenceCounts are the numbers of table values and of formulas.
type ReferenceCounts struct {
	Values   MarkCounts `json:"values"`
	Formulas MarkCounts `json:"formulas"`
}

// ReferenceValues is every value and formula, with the reviews in use.
type ReferenceValues struct {
	ReviewsHash string           `json:"reviews_hash,omitempty"`
	Counts      ReferenceCounts  `json:"counts"`
	Values      []ReferenceValue `json:"values"`
}

// ReferenceReviews describes a table of reviews that is in use.
type ReferenceReviews struct {
	Hash          string           `json:"hash"`
	StoredAt      string           `json:"stored_at"`
	CheckedBy     []string         `json:"checked_by"`
	Agreed        int              `json:"agreed"`
	Disagreed     int              `json:"disagreed"`
	Counts        ReferenceCounts  `json:"counts"`
	Disagreements []ReferenceValue `json:"disagreements"`
	Outdated      []OutdatedReview `json:"outdated"`
}

// OutdatedReview is a row that is not used, because the program no longer has the value or has changed it since.
type OutdatedReview struct {
	Line   int    `json:"line"`
	Column string `json:"column,omitempty"`
	Value  string `json:"value,omitempty"`
	Reason string `json:"reason"`
}
