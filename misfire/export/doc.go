// Package export writes a drive as tables that any data tool opens: every reading, every window of the tally, or the
// tally itself, a row at a time, as CSV, as JSON lines or as Parquet.
//
// Columns are the same in all three and are only ever added to: those of Sample, Window and Cell, by the names in
// their tags. Names are lower case and end in the unit where there is one. What is not known is an empty field in
// CSV and null in the others. Times are UTC to the microsecond.
package export
