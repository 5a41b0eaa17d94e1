// Package bench judges what is measured by hand: plug wires, plugs, coils, injectors, compression, leak-down, fuel
// pressure, battery and the like.
//
// A reading is held against the maker's figure where it is told, else against the band of common practice, and against
// the same reading of the other cylinders: a part can lie within the band and still stand out from its siblings. Every
// judgement names the rule that decided and who says so; rules.csv holds the rules. The maker's figure wins over every
// band. The package is pure: it has no clock, screen or file but its table.
package bench
