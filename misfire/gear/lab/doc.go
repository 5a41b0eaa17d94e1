// Package lab makes drives of idling cars whose gear is known, to measure what inference makes of them. Each is a
// torque balance of the engine, J dn/dt = T_air eta - T_friction - T_accessories - T_box, with a speed control that holds the
// idle by air and spark, a converter that takes c n^2, and accessories that come and go; a driver parks, shifts, waits
// at lights and drives off. It shares no code with the simulated car nor with what is measured on it.
//
// Sizes are those of makers' tables, service manuals and the papers named beside them where there is one; what has no
// name beside it is common practice, no source. TestFamilies prints what is right and wrong by family:
//
//	go test ./misfire/gear/lab -run TestFamilies -v -drives 40
package lab
