package lab

import "gonum.org/v1/gonum/stat/distuv"

func chiSquare(p, freedom float64) float64 { return distuv.ChiSquared{K: freedom}.Quantile(p) }
