package contract

import (
	"levinward/api/refusal"
	"levinward/api/wire"
	"levinward/risk"
)

// DecodeBody reads a body of type T; check finds the faults that the limits of single fields cannot state. The
// usual body goes the fast way; only a refusal asks for every fault.
func DecodeBody[T any](decoder *wire.Decoder[T], body []byte, check func(*T) []risk.Violation) (*T, *refusal.Problem) {
	v, ok := decoder.Decode(body)
	if !ok {
		return Explain(decoder, body, check)
	}
	if faults := check(v); len(faults) > 0 {
		return nil, refusal.Invalid(refusal.FaultsOf(faults))
	}
	return v, nil
}

// Explain reads a body the slow way and finds everything that is wrong with it.
func Explain[T any](decoder *wire.Decoder[T], body []byte, check func(*T) []risk.Violation) (*T, *refusal.Problem) {
	tree, duplicates, err := DecodeTree(body)
	if err != nil {
		return nil, refusal.NotJSON.Problem(err.Error())
	}
	var faults []refusal.Fault
	for _, p := range duplicates {
		faults = append(faults, refusal.FaultAt(p, "stands twice in one object"))
	}
	doc, found := decoder.Judge(tree, duplicates, check)
	faults = append(faults, refusal.FaultsOf(found)...)
	switch {
	case len(faults) > 0:
		return nil, refusal.Invalid(faults)
	case doc == nil: // the limits accept what the document does not: a fault of ours
		return nil, refusal.Internal.Problem("the body could not be decoded")
	}
	return doc, nil
}
