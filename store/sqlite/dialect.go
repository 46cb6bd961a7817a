package sqlite

import (
	"time"

	"levinward/store/tables"
)

// dialect is how SQLite says what both databases can say: times are microseconds since 1970, days are texts.
var dialect = tables.Dialect{
	Moment: func(t time.Time) any { return t.UnixMicro() }, Day: func(t time.Time) any { return t.Format(time.DateOnly) },
	Within: "instr", NoBytes: "NULL", Earliest: "-9223372036854775808", Latest: "9223372036854775807",
	// A table cannot lose its constraint on names. No portfolio can have one that begins with a zero byte.
	FreeName: "name = char(0) || id, ", ByName: " INDEXED BY portfolio_site_name",
	RowsOf: "rowid IN (SELECT part.rowid %s)",
}
