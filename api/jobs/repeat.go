package jobs

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"

	"levinward/store"
)

// A request with an idempotency key begins one work, however often it is sent.
// The key is taken when the rows were read and the work is queued, together with the hash of
// the whole request; so a request that broke off, or a file that was refused, leaves
// the key free, and of several at once the first that was read is the one that counts.

// Request names a request by its key and everything that decides what it does; nil without a key.
func Request(key, kind, portfolio string, body []byte) *store.Idempotency {
	if key == "" {
		return nil
	}
	h := requestHash(kind, portfolio)
	h.Write(body)
	return requestOf(key, h)
}

// requestHash is to be fed the body of a request.
func requestHash(kind, portfolio string, parameters ...string) hash.Hash {
	if id, ok := store.CanonicalID(portfolio); ok {
		portfolio = id
	}
	h := sha256.New()
	fmt.Fprintf(h, "%q\n", append([]string{kind, portfolio}, parameters...))
	return h
}

func requestOf(key string, h hash.Hash) *store.Idempotency {
	return &store.Idempotency{Key: key, BodyHash: hex.EncodeToString(h.Sum(nil))}
}

// Begun returns the work that an earlier request with the same key began, if
// there is one; store.ErrKeyReused: that was another request. It takes no request as a new one.
func (j *Jobs) Begun(ctx context.Context, request *store.Idempotency) (w store.Work, begun bool, err error) {
	if request == nil {
		return w, false, nil
	}
	w, err = j.Store.WorkUnder(ctx, j.org, request.Key)
	switch {
	case errors.Is(err, store.ErrNotFound):
		return store.Work{}, false, nil
	case err != nil:
		return store.Work{}, false, err
	case w.Idempotency.BodyHash != request.BodyHash:
		return store.Work{}, false, store.ErrKeyReused
	}
	return w, true, nil
}

// begunByFile is Begun for a body that is hashed as it is read. The file is read only
// where the key is known: to its end, and none of it is kept.
func (j *Jobs) begunByFile(ctx context.Context, key string, h hash.Hash, file io.Reader) (w store.Work, begun bool, err error) {
	if key == "" {
		return w, false, nil
	}
	if _, err := j.Store.WorkUnder(ctx, j.org, key); err != nil {
		if errors.Is(err, store.ErrNotFound) {
			err = nil
		}
		return w, false, err
	}
	if _, err := io.Copy(io.Discard, file); err != nil {
		return w, false, err
	}
	w, begun, err = j.Begun(ctx, requestOf(key, h))
	if err == nil && !begun {
		err = store.ErrNotFound // the portfolio was deleted while the file was read
	}
	return w, begun, err
}

// begin ends the reading of a work and lets the workers at it. Where another
// request with the same key was faster, that work is returned and the rows of this one are dropped.
func (j *Jobs) begin(ctx context.Context, work string, n store.Notes, request *store.Idempotency) (w store.Work, begun bool, err error) {
	w, err = j.Store.BeginWork(ctx, j.org, work, n, request, j.now())
	if errors.Is(err, store.ErrExists) {
		w, begun, err = j.Begun(ctx, request)
		if err == nil && !begun {
			err = store.ErrNotFound // the portfolio of the faster one was deleted
		}
		j.drop(ctx, work, "another request with the same idempotency key was faster; nothing of this one was stored", store.ErrExists)
		return w, begun, err
	}
	if err != nil {
		return w, false, err
	}
	j.queued(w.ID)
	return w, false, nil
}
