package spd

import "levinward/risk/trace"

var tables []*trace.Table

// Tables lists the tables in use, as printed.
func Tables() []*trace.Table { return tables }
