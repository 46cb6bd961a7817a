package geo

import (
	"errors"
	"fmt"
	"strings"
)

// rasterReadError gives an error of reading its final form.
func rasterReadError(err error, limits DensityMapLimits, faults *rasterFaults) error {
	var content *DensityMapError
	switch {
	case err == nil, errors.As(err, &content):
		return err
	case errors.Is(err, errRasterTooLong):
		faults.add(DensityFaultTooLarge, "file", "is longer than the %d bytes allowed", limits.MaxBytes)
		return faults.err()
	}
	return fmt.Errorf("reading a flash-density map: %w", err)
}

// DensityMapFaultCode is a stable name for a kind of fault.
type DensityMapFaultCode string

// DensityMapFault is one fault of a file or its metadata.
type DensityMapFault struct {
	Code   DensityMapFaultCode
	Where  string // line, row and column, tag, or field of the metadata
	Detail string // what was found and what is allowed
}

func (f DensityMapFault) String() string { return f.Where + ": " + f.Detail }

// DensityMapError holds what is wrong with a flash-density map. Nothing of the map was kept.
type DensityMapError struct {
	Faults []DensityMapFault // the first ones, in the order they were found
	More   int               // how many further faults were only counted
}

func (e *DensityMapError) Error() string {
	parts := make([]string, 0, len(e.Faults)+1)
	for _, f := range e.Faults {
		parts = append(parts, f.String())
	}
	if e.More > 0 {
		parts = append(parts, fmt.Sprintf("and %d more", e.More))
	}
	return "flash-density map: " + strings.Join(parts, "; ")
}

// maxRasterFaults is how many faults an error spells out.
const maxRasterFaults = 20

type rasterFaults struct {
	list  []DensityMapFault
	total int
}

func (f *rasterFaults) add(code DensityMapFaultCode, where, format string, args ...any) {
	f.total++
	if len(f.list) < maxRasterFaults {
		f.list = append(f.list, DensityMapFault{code, where, fmt.Sprintf(format, args...)})
	}
}

func (f *rasterFaults) err() error {
	if f.total == 0 {
		return nil
	}
	return &DensityMapError{Faults: f.list, More: f.total - len(f.list)}
}
