package report_test

import (
	"fmt"
	"strings"

	"stumble/obd"
	"stumble/views/report"
)

// A page of trouble codes, misfire first, at any width from 40 columns.
func ExampleWriteCodes() {
	r := obd.CodeReport{Modules: []obd.ModuleCodes{{Module: obd.Module{ID: 0x7E8, Bits: 11}, Stored: []obd.Code{0x0420, 0x0305}}}}
	var page strings.Builder
	if err := report.WriteCodes(&page, &r, 72); err != nil {
		fmt.Println(err)
	}
	fmt.Println(strings.Index(page.String(), "P0305") < strings.Index(page.String(), "P0420"))
	// Output: true
}
