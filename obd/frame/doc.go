// Package frame turns the lines an adapter prints into whole messages, one per control module and answer.
// It knows the four framings of SAE J1979 vehicles (ISO 15765-2 on CAN, ISO 9141-2, ISO 14230-2 and SAE
// J1850) and how an ELM327-compatible adapter prints them with headers on and off. It is pure: no input, no
// output, no clock. A message that is not certainly whole is withheld and reported, never guessed at.
package frame
