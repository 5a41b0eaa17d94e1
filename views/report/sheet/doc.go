// Package sheet is paper to print on: pages of a PDF file that texts in any script, lines and charts are put on, in
// points from the upper left corner. It knows nothing of what is printed, and where.
//
// The same calls give the same bytes: the file carries no time but the one it is given, and no name made up by chance.
// Its faces are embedded, each with the letters that are used alone.
package sheet
