package apitest

import (
	"net/http"
)

// SupplyDevice is an invented device that suits the single-phase supply of the demo site.
func SupplyDevice(reference string, price any) map[string]any {
	d := map[string]any{"reference": reference, "name": "Invented " + reference, "current": []string{"ac"}, "uc_ac_v": 275, "up_kv": 1.0,
		"in_ka": 40, "in_n_pe_ka": 80, "imax_ka": 80,
		"iimp_ka": 25, "iimp_n_pe_ka": 100, "test_classes": []string{"I", "II"}, "technology": "limiting", "short_circuit_ka": 25, "tov_v": 440,
		"up_l_pe_kv": 1.2,
		"modes":      []string{"L-N", "N-PE"}, "connections": []string{"CT2"}}
	if price != nil {
		d["price"], d["currency"] = price, "XTS"
	}
	return d
}

const (
	DevicesPath = "/v1/devices"
)

// PutJSON replaces what is at a path.
func PutJSON(c *Client, path string, body []byte, headers ...string) *Answer {
	return c.Do(http.MethodPut, path, body, append([]string{"Content-Type", "application/json"}, headers...)...)
}

// PostTable sends a table of devices.
func PostTable(c *Client, query, table string) *Answer {
	return c.Do(http.MethodPost, DevicesPath+query, []byte(table), "Content-Type", "text/csv; charset=utf-8")
}

// DeviceList is what tests look at of the list.
type DeviceList struct {
	Devices []struct {
		ID, Reference, Name string
		Version             int
	}
}
