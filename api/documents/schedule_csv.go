package documents

import (
	"encoding/json"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"levinward/api/protocol"
	"levinward/api/wire"
)

// number is a number of a stored document at full precision; what was null or missing is empty.
type number = json.Number

// storedEntry is a device of a stored schedule. What was null or missing is empty.
type storedEntry struct {
	Structure       string        `json:"structure"`
	Line            string        `json:"line"`
	Position        string        `json:"position"`
	Required        bool          `json:"required"`
	Need            string        `json:"need"`
	Specifiable     *bool         `json:"specifiable"`
	EarthFirst      bool          `json:"earth_first"`
	EarthGrade      string        `json:"earth_grade"`
	Because         []wire.Reason `json:"because"`
	Service         string        `json:"service"`
	Current         string        `json:"current"`
	TestClass       string        `json:"test_class"`
	Level           string        `json:"lightning_protection_level"`
	Connection      string        `json:"connection"`
	AlsoConnection  string        `json:"also_connection"`
	Conductors      number        `json:"protected_conductors"`
	Standard        string        `json:"device_standard"`
	ServedBy        string        `json:"served_by"`
	Modes           []storedMode  `json:"modes"`
	UcMin           number        `json:"uc_min_v"`
	UcMax           number        `json:"uc_max_v"`
	UpMax           number        `json:"up_max_kv"`
	EffectiveMax    number        `json:"effective_up_max_kv"`
	Withstand       number        `json:"withstand_kv"`
	InMin           number        `json:"in_min_ka"`
	IimpMin         number        `json:"iimp_min_ka"`
	IimpTotalMin    number        `json:"iimp_total_min_ka"`
	LimitingIimpMin number        `json:"limiting_iimp_min_ka"`
	LimitingInMin   number        `json:"limiting_in_min_ka"`
	UocMin          number        `json:"uoc_min_kv"`
	ImaxMin         number        `json:"imax_min_ka"`
	ShortCircuitMin number        `json:"short_circuit_min_ka"`
	TOVMin          number        `json:"tov_min_v"`
	Order           struct {
		Uc      number `json:"uc_v"`
		UcMax   number `json:"uc_max_v"`
		Up      number `json:"up_kv"`
		In      number `json:"in_ka"`
		Iimp    number `json:"iimp_ka"`
		IimpNPE number `json:"iimp_n_pe_ka"`
		Uoc     number `json:"uoc_kv"`
	} `json:"order"`
	Share struct {
		Paths      number `json:"paths"`
		Conductors number `json:"conductors"`
		Ke         number `json:"k_e"`
		Method     string `json:"method"`
	} `json:"current_share"`
	Leads struct {
		MaxLength number `json:"max_length_m"`
		Earth     number `json:"earth_mm2"`
		Live      number `json:"live_mm2"`
	} `json:"leads"`
	Notes []string `json:"notes"`
}

type storedMode struct {
	Mode    string `json:"mode"`
	UcMin   number `json:"uc_min_v"`
	UpMax   number `json:"up_max_kv"`
	InMin   number `json:"in_min_ka"`
	IimpMin number `json:"iimp_min_ka"`
	TOV     []struct {
		Duration string `json:"duration"`
		Volt     number `json:"volt"`
		After    string `json:"after"`
	} `json:"tov"`
}

// storedEarth is what a stored result says of the earth connection of a structure.
type storedEarth struct {
	Resistance number           `json:"resistance_ohm"`
	Notes      []wire.EarthNote `json:"notes"`
}

// storedSchedule is a stored result as far as its schedule is written as a table.
type storedSchedule struct {
	ReviewsHash string `json:"reviews_hash,omitempty"`
	Input       struct {
		Name      string `json:"name"`
		Reference string `json:"reference"`
	} `json:"input"`
	Structures []struct {
		ID       string       `json:"id"`
		Earthing *storedEarth `json:"earthing"`
	} `json:"structures"`
	Schedule json.RawMessage `json:"spd_schedule"`
}

// earth is that of a structure, empty where nothing was stored.
func (s *storedSchedule) earth(structure string) *storedEarth {
	for i := range s.Structures {
		if w := &s.Structures[i]; w.ID == structure && w.Earthing != nil {
			return w.Earthing
		}
	}
	return new(storedEarth)
}

// scheduleColumn is a column of the schedule as a table: the place, what is asked, and the remarks.
type scheduleColumn struct {
	name string
	cell func(e *storedEntry) string
}

var scheduleColumns = []scheduleColumn{
	{"earth_first", func(e *storedEntry) string { return strconv.FormatBool(e.EarthFirst) }},
	{"structure", func(e *storedEntry) string { return e.Structure }},
	{"line", func(e *storedEntry) string { return e.Line }},
	{"position", func(e *storedEntry) string { return e.Position }},
	{"required", func(e *storedEntry) string { return strconv.FormatBool(e.Required) }},
	{"need", func(e *storedEntry) string { return e.Need }},
	{"specifiable", func(e *storedEntry) string { return strconv.FormatBool(e.Specifiable == nil || *e.Specifiable) }},
	{"served_by", func(e *storedEntry) string { return e.ServedBy }},
	{"because", func(e *storedEntry) string { return becauseCell(e.Because) }},
	{"service", func(e *storedEntry) string { return e.Service }},
	{"current", func(e *storedEntry) string { return e.Current }},
	{"device_standard", func(e *storedEntry) string { return e.Standard }},
	{"test_class", func(e *storedEntry) string { return e.TestClass }},
	{"lightning_protection_level", func(e *storedEntry) string { return e.Level }},
	{"connection", func(e *storedEntry) string { return e.Connection }},
	{"also_connection", func(e *storedEntry) string { return e.AlsoConnection }},
	{"protected_conductors", func(e *storedEntry) string { return string(e.Conductors) }},
	{"modes", func(e *storedEntry) string { return modesCell(e.Modes) }},
	{"order_uc_v", func(e *storedEntry) string { return string(e.Order.Uc) }},
	{"order_uc_max_v", func(e *storedEntry) string { return string(e.Order.UcMax) }},
	{"order_up_kv", func(e *storedEntry) string { return string(e.Order.Up) }},
	{"order_in_ka", func(e *storedEntry) string { return string(e.Order.In) }},
	{"order_iimp_ka", func(e *storedEntry) string { return string(e.Order.Iimp) }},
	{"order_iimp_n_pe_ka", func(e *storedEntry) string { return string(e.Order.IimpNPE) }},
	{"order_uoc_kv", func(e *storedEntry) string { return string(e.Order.Uoc) }},
	{"uc_min_v", func(e *storedEntry) string { return string(e.UcMin) }},
	{"uc_min_v_by_mode", func(e *storedEntry) string { return byMode(e, func(m *storedMode) number { return m.UcMin }) }},
	{"uc_max_v", func(e *storedEntry) string { return string(e.UcMax) }},
	{"up_max_kv", func(e *storedEntry) string { return string(e.UpMax) }},
	{"up_max_kv_by_mode", func(e *storedEntry) string { return byMode(e, func(m *storedMode) number { return m.UpMax }) }},
	{"effective_up_max_kv", func(e *storedEntry) string { return string(e.EffectiveMax) }},
	{"withstand_kv", func(e *storedEntry) string { return string(e.Withstand) }},
	{"in_min_ka", func(e *storedEntry) string { return string(e.InMin) }},
	{"in_min_ka_by_mode", func(e *storedEntry) string { return byMode(e, func(m *storedMode) number { return m.InMin }) }},
	{"iimp_min_ka", func(e *storedEntry) string { return string(e.IimpMin) }},
	{"iimp_min_ka_by_mode", func(e *storedEntry) string { return byMode(e, func(m *storedMode) number { return m.IimpMin }) }},
	{"iimp_total_min_ka", func(e *storedEntry) string { return string(e.IimpTotalMin) }},
	{"limiting_iimp_min_ka", func(e *storedEntry) string { return string(e.LimitingIimpMin) }},
	{"limiting_in_min_ka", func(e *storedEntry) string { return string(e.LimitingInMin) }},
	{"uoc_min_kv", func(e *storedEntry) string { return string(e.UocMin) }},
	{"imax_min_ka", func(e *storedEntry) string { return string(e.ImaxMin) }},
	{"short_circuit_min_ka", func(e *storedEntry) string { return string(e.ShortCircuitMin) }},
	{"tov_min_v", func(e *storedEntry) string { return string(e.TOVMin) }},
	{"tov_by_mode", tovCell},
	{"leads_max_length_m", func(e *storedEntry) string { return string(e.Leads.MaxLength) }},
	{"leads_earth_mm2", func(e *storedEntry) string { return string(e.Leads.Earth) }},
	{"leads_live_mm2", func(e *storedEntry) string { return string(e.Leads.Live) }},
	{"current_share_paths", func(e *storedEntry) string { return string(e.Share.Paths) }},
	{"current_share_conductors", func(e *storedEntry) string { return string(e.Share.Conductors) }},
	{"current_share_k_e", func(e *storedEntry) string { return string(e.Share.Ke) }},
	{"current_share_method", func(e *storedEntry) string { return e.Share.Method }},
	{"notes", func(e *storedEntry) string { return strings.Join(e.Notes, " ") }},
}

// recordColumns come first: the record, so that rows of several sites can stand in one file, and the earth.
var recordColumns = []string{"site", "reference", "revision", "date", "earth_grade", "earth_resistance_ohm", "earth_advice"}

// scheduleCSV writes a row per device.
func (s *Service) scheduleCSV(c echo.Context) error {
	devices, err := matching(c)
	if err != nil {
		return err
	}
	r, err := s.chosen(c)
	if err != nil {
		return err
	}
	var stored storedSchedule
	var schedule []storedEntry
	if err := json.Unmarshal(r.Result, &stored); err != nil {
		return err
	}
	if err := json.Unmarshal(stored.Schedule, &schedule); err != nil {
		return err
	}
	rows := [][]string{recordColumns[:len(recordColumns):len(recordColumns)]}
	for _, column := range scheduleColumns {
		rows[0] = append(rows[0], column.name)
	}
	record := []string{stored.Input.Name, stored.Input.Reference, strconv.Itoa(r.Revision), r.CreatedAt.UTC().Format(time.DateOnly)}
	for i := range schedule {
		rows = append(rows, scheduleRow(record, stored.earth(schedule[i].Structure), &schedule[i]))
	}
	if devices > 0 {
		m, err := s.match(c, stored.Schedule, stored.ReviewsHash, devices)
		if err != nil {
			return err
		}
		rows = withMatches(rows, m)
	}
	return protocol.AnswerCSV(c, "spd-schedule.csv", rows)
}

func scheduleRow(record []string, earth *storedEarth, e *storedEntry) []string {
	advice := make([]string, len(earth.Notes))
	for i := range earth.Notes {
		advice[i] = earth.Notes[i].Text
	}
	row := append(record[:len(record):len(record)], e.EarthGrade, string(earth.Resistance), strings.Join(advice, " "))
	for _, column := range scheduleColumns {
		row = append(row, column.cell(e))
	}
	return row
}

func becauseCell(reasons []wire.Reason) string {
	texts := make([]string, len(reasons))
	for i, b := range reasons {
		texts[i] = b.Rule + " (" + b.Clause + ")"
	}
	return strings.Join(texts, "; ")
}

// modesCell lists the modes in the form in which a table of devices takes them.
func modesCell(modes []storedMode) string {
	names := make([]string, len(modes))
	for i := range modes {
		names[i] = modes[i].Mode
	}
	return strings.Join(names, "|")
}

// byMode lists a number of each mode that has one.
func byMode(e *storedEntry, of func(*storedMode) number) string {
	var texts []string
	for i := range e.Modes {
		if n := of(&e.Modes[i]); n != "" {
			texts = append(texts, e.Modes[i].Mode+" "+string(n))
		}
	}
	return strings.Join(texts, "; ")
}

// tovCell lists the temporary overvoltages of each mode.
func tovCell(e *storedEntry) string {
	var texts []string
	for i := range e.Modes {
		for _, o := range e.Modes[i].TOV {
			texts = append(texts, e.Modes[i].Mode+" "+o.Duration+" "+string(o.Volt)+" V "+o.After)
		}
	}
	return strings.Join(texts, "; ")
}
