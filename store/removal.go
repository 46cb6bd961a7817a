package store

import (
	"context"
	"time"
)

// A portfolio is removed in parts, so that others can write between them. BeginRemoval says when somebody else may go
// on with it, and each part moves that time to the end of a lease. From then on the portfolio is nowhere to be found
// and takes no work, its name is free, and the removal goes on until nothing is left: in the call that began it, or,
// after the program was killed, by the queue or in another call.

// SitesOfPart is how many sites a part of a removal takes away, which takes some tenths of a second.
const SitesOfPart = 1000

// behindPart is the pause in which another process gets its turn: with SQLite those wait by asking again and again.
const behindPart = 20 * time.Millisecond

// DeletePortfolio removes a portfolio with its sites, their assessments and all work on it; ErrNotFound. Nobody can
// call it back: once begun, it goes on when ctx is done.
func DeletePortfolio(ctx context.Context, p Portfolios, org Organisation, id string) error {
	if err := p.BeginRemoval(ctx, org, id); err != nil {
		return err
	}
	return EndRemoval(context.WithoutCancel(ctx), p, org, id)
}

// EndRemoval takes away what is left of a portfolio that is being removed.
func EndRemoval(ctx context.Context, p Portfolios, org Organisation, id string) error {
	for {
		more, err := p.RemovePart(ctx, org, id)
		if err != nil || !more {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(behindPart):
		}
	}
}
