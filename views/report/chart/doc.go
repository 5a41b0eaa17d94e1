// Package chart draws the pictures of a report: rates with their limits, the drive as a strip, a repair's ratios, and
// the map of load and engine speed. It draws plain values and decides nothing; what is in a picture is worked out
// elsewhere.
//
// A chart paints the same shapes on every canvas: on white paper through [Chart.Draw], within an HTML page through
// [Chart.WriteSVG], where the page's style sheet may change the colours (see [Variables]). The same values give the
// same bytes.
//
// Colours never stand alone: gear states also differ by marker and by row, figures stand in the cells of the map.
package chart
