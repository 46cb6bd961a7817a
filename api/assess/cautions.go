package assess

import (
	"slices"
	"strings"

	"levinward/risk/measures"
)

// CautionsInShort is the caution of what has room for one line: a row of a table, the end of an import.
const CautionsInShort = "Screening and design aid: local codes and a licensed practitioner decide. " +
	"Earth first: without a proved earth connection an SPD protects nothing."

// caution is one of the general cautions.
type caution struct {
	text string
	mark string // words by which another caution on the same matter is known
}

var general = []caution{
	{"This is a screening and design aid. Local codes and a licensed practitioner decide; have the design checked and signed " +
		"before anything is built.",
		"licensed practitioner"},
	{"An SPD moves the surge to earth. Prove the earth connection and the bonding first; without them an SPD protects nothing.",
		"earth connection"},
	{"Work on live, photovoltaic and battery circuits can kill. A photovoltaic array is live whenever there is light; a battery " +
		"cannot be switched off.",
		"can kill"},
	{"No protection against lightning is complete: stay away from lines, metal parts and open ground during a thunderstorm.",
		"No protection"},
	{"Values marked memory were not checked against a licensed copy of the standard. Damage to the surroundings of the structure " +
		"is not covered.",
		"licensed copy"},
}

// Cautions returns the general cautions. They stand in everything that tells the results of a site.
func Cautions() []string { return withGeneral(nil) }

// withGeneral puts the general cautions behind those of one kind of answer. A matter on which these
// say something already is not repeated.
func withGeneral(own []string) []string {
	all := slices.Clone(own)
	for _, c := range general {
		if !slices.ContainsFunc(own, func(text string) bool { return strings.Contains(text, c.mark) }) {
			all = append(all, c.text)
		}
	}
	return all
}

var stressCautions = []string{
	"These are expectations over many sites and years, no forecast for one device: look at the status indicators after thunderstorms and at least once a year, and replace what has failed.",
	"Only discharge currents are judged here. Whether a device is right for a line, and protects its equipment, a check of the device says.",
}

var earthCautions = []string{
	"A computed resistance is a plan, not a proof: measure the finished electrode, in dry season, before anything relies on it.",
	"Local codes and a licensed practitioner decide. Bond every earth of the site together; a separate lightning earth is dangerous.",
	"Look for buried cables and pipes before driving rods.",
}

// matchCautions stand beside the cautions of the schedule that is matched.
var matchCautions = []string{
	"A device that passes is right as far as its data sheet tells. Leads, distance to the equipment, backup overcurrent device and earth connection are not matched: check them on site.",
	"Each entry is counted as one device that has all of its modes; a device built of single poles is to be listed, and priced, as the set.",
	"Data sheets and prices are those that the owner of the library stored; compare the device that is bought with its own data sheet.",
	"Local codes and a licensed practitioner decide.",
}

// BudgetCautions say what a plan by an objective is not.
func BudgetCautions(o measures.Objective) []string {
	own := []string{
		"A plan under a budget does not make every site acceptable: a set that is worth its money may leave a risk above its limit R_T, and what is not chosen stays as it is. Look at acceptable_after and sites_above_limit_after.",
	}
	if o == measures.PersonsAtRisk {
		own = append(own, "Persons at risk are those in structures whose R_1 exceeds R_T. A structure counts in full or not at all: "+
			"how far R_1 is above R_T does not count, nor does a set that lowers it and leaves it above. Persons in several structures "+
			"count in each.")
	} else {
		own = append(own, "Expected loss is R_4 x c_t, the loss of economic value per year as a mean over many years; a single site "+
			"may lose all or nothing. It counts structures whose values are given and nothing else: neither life, nor service to the "+
			"public, nor heritage, nor what the measures cost each year. It means something only where all values are in the currency of "+
			"the prices.")
	}
	return withGeneral(own)
}
