package wire

import (
	"fmt"
	"strings"

	"levinward/risk"
)

// Stated is a named value whose first name stands for nothing stated: documents leave the field out instead.
type Stated[V namedValue] struct{ value V }

type namedValue interface {
	~uint8
	Names() []string
	String() string
}

// Names lists the values that can be given.
func (s Stated[V]) Names() []string { return s.value.Names()[1:] }

// MarshalText gives the name of the value.
func (s Stated[V]) MarshalText() ([]byte, error) { return []byte(s.value.String()), nil }

// UnmarshalText takes the name of a value.
func (s *Stated[V]) UnmarshalText(b []byte) error {
	for i, name := range s.value.Names() {
		if i > 0 && name == string(b) {
			s.value = V(i)
			return nil
		}
	}
	return fmt.Errorf("%.40q is none of %s", b, strings.Join(s.Names(), ", "))
}

// stated is the value given, or nothing stated.
func stated[V namedValue](given *Stated[V]) V {
	if given == nil {
		return 0
	}
	return given.value
}

// answer is yes or no as given, or not known.
func answer(given *bool) risk.Answer {
	switch {
	case given == nil:
		return risk.NotKnown
	case *given:
		return risk.Yes
	}
	return risk.No
}

// The named values of what is connected through a line that package risk holds without the names.
type (
	Waveform  = risk.Named[waveformList]
	Variation = risk.Named[variationList]
	Shielding = risk.Named[shieldingList]
)

// The values that package risk holds as true.
const (
	pulsed        Waveform  = 1
	wideVariation Variation = 1
	shieldedWires Shielding = 1
)

var (
	waveformNames  = []string{"sinusoidal", "pwm"}
	variationNames = []string{"normal", "wide"}
	shieldingNames = []string{"unshielded", "shielded"}
)

type waveformList struct{}

func (waveformList) List() (string, []string) { return "waveform", waveformNames }

type variationList struct{}

func (variationList) List() (string, []string) { return "voltage variation", variationNames }

type shieldingList struct{}

func (shieldingList) List() (string, []string) { return "wiring", shieldingNames }
