package postgres

import (
	"time"

	"levinward/store/tables"
)

// dialect is how PostgreSQL says what both databases can say.
var dialect = tables.Dialect{
	Moment: func(t time.Time) any { return t }, Day: func(t time.Time) any { return t },
	Within: "strpos", NoBytes: "NULL::bytea", Earliest: "'-infinity'", Latest: "'infinity'",
	Big: "::bigint", ByBytes: ` COLLATE "C"`,
	RowsOf: "ctid = ANY (ARRAY (SELECT part.ctid %s))",
}
