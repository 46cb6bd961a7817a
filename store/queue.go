package store

import "time"

// Lease is how long a claim of a chunk, a delivery or a removal lasts. Whoever claimed one and says nothing
// more until then counts as dead, and others get it. It leaves time to notice that within 30 seconds.
const Lease = 20 * time.Second

// ClaimedChunk is a chunk to be done.
type ClaimedChunk struct {
	N      int
	Claims int // of the chunk so far, this one among them
}
