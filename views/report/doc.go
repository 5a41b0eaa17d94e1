// Package report writes what is known of a car for people to read and keep, and as JSON for programs.
//
// A page is built in two steps. The first picks and words what there is to say and gives a document:
// headings, paragraphs, cautions, lists and tables, nothing of which knows how wide a line is. The second
// lays the document out. All words of the pages stand in package catalogue.
package report
