package sites

import (
	"context"

	"levinward/store"
)

// Find returns at most limit sites of a portfolio, and the cursor behind the last one; empty behind the last of all.
func Find(ctx context.Context, s store.Sites, portfolio string, f store.SiteFilter, limit int) (found []store.Site, next string,
	err error) {
	for {
		f.Limit = min(store.MaxLimit, limit-len(found))
		page, err := s.ListSites(ctx, store.Local, portfolio, f)
		if err != nil {
			return nil, "", err
		}
		found = append(found, page.Sites...)
		if f.Cursor = page.Next; f.Cursor == "" || len(found) == limit {
			return found, f.Cursor, nil
		}
	}
}
