package jobs_test

import (
	"context"
	"sync/atomic"

	"levinward/store"
)

// counting is a store that counts the chunks stored through it.
type counting struct {
	store.Store
	chunks atomic.Int64
}

func (c *counting) StoreChunk(ctx context.Context, org store.Organisation, o store.Outcome) error {
	err := c.Store.StoreChunk(ctx, org, o)
	if err == nil {
		c.chunks.Add(1)
	}
	return err
}
