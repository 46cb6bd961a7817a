package measures

// For the tests that run an edition, which this package itself must not know.
var EverySet = everySet
