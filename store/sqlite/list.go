package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"levinward/store"
)

// List returns a page of assessments.
func (s *Store) List(ctx context.Context, org store.Organisation, f store.Filter) (store.Page, error) {
	if err := f.Normalise(); err != nil {
		return store.Page{}, err
	}
	owner, ok := store.CanonicalID(string(org))
	if !ok {
		return store.Page{}, nil
	}
	query, args, err := listQuery(owner, f)
	if err != nil {
		return store.Page{}, err
	}
	var entries []store.Entry
	err = s.do(ctx, s.reader, func(ctx context.Context, c *sql.Conn) error {
		rows, err := c.QueryContext(ctx, query, args...)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			e, err := scanEntry(rows)
			if err != nil {
				return err
			}
			entries = append(entries, e)
		}
		return rows.Err()
	})
	if err != nil {
		return store.Page{}, err
	}
	return store.NextPage(entries, f.Limit), nil
}

func scanEntry(rows *sql.Rows) (e store.Entry, err error) {
	var h headerRow
	var first int64
	if err := rows.Scan(append(h.fields(), &first, &e.Result)...); err != nil {
		return store.Entry{}, err
	}
	e.FirstCreatedAt = fromMicros(first)
	e.Header, err = h.read()
	return e, err
}

func listQuery(owner string, f store.Filter) (query string, args []any, err error) {
	arg := func(v any) string {
		args = append(args, v)
		return fmt.Sprintf("$%d", len(args))
	}
	where := []string{"a.organisation = " + arg(owner)}
	if f.Cursor != "" {
		p, err := store.ParseCursor(f.Cursor)
		if err != nil {
			return "", nil, err
		}
		where = append(where, fmt.Sprintf("(a.created_at, a.id) < (%s, %s)", arg(p.FirstCreatedAt.UnixMicro()), arg(p.ID)))
	}
	if f.Query != "" {
		q := arg(f.Query)
		where = append(where, fmt.Sprintf("(instr(a.name_folded, %s) > 0 OR instr(a.reference_folded, %s) > 0)", q, q))
	}
	if b := f.BBox; b != nil {
		where = append(where, fmt.Sprintf("a.latitude BETWEEN %s AND %s", arg(b.South), arg(b.North)))
		var spans []string
		for _, s := range b.Spans() {
			spans = append(spans, fmt.Sprintf("a.longitude BETWEEN %s AND %s", arg(s.West), arg(s.East)))
		}
		where = append(where, "("+strings.Join(spans, " OR ")+")")
	}
	if f.DueOn != nil {
		where = append(where, fmt.Sprintf("(a.review_due <= %s) = %s", arg(f.DueOn.Format(time.DateOnly)), arg(f.Due)))
	}
	result := "NULL"
	if f.WithResult {
		result = "r.result"
	}
	// The page is chosen from the narrow rows alone, and only then are their
	// revisions read.
	query = `SELECT ` + header + `, a.created_at, ` + result + `
		FROM (SELECT a.* FROM assessment a WHERE ` + strings.Join(where, " AND ") + `
				ORDER BY a.created_at DESC, a.id DESC LIMIT ` + arg(f.Limit+1) + `) a
			JOIN revision r ON r.organisation = a.organisation AND r.assessment = a.id AND r.revision = a.newest
		ORDER BY a.created_at DESC, a.id DESC`
	return query, args, nil
}
