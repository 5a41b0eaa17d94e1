package cause

import (
	"stumble/misfire/bench"
	"stumble/misfire/proof"
	"stumble/obd"
)

// Telling is what was found, as a kind with its numbers. What a kind holds stands beside it.
type Telling struct {
	Kind      TellingKind
	Among     Among
	Cylinders []int
	Misses    float64 // of them
	All       float64 // misses of all, or of the others
	From, To  Running // running that is compared
	FromRate  float64 // misses per 1,000 firings, or dips a minute
	ToRate    float64
	Trim      float64 // percent
	Idle      float64 // trim at idle, percent
	Own       float64 // what one cylinder's mixture would be off, percent; plus is lean
	Where     TrimPlace
	Bank      int // 0: there is one, or nobody tells
	RPM       float64
	Load      float64 // percent
	Celsius   float64
	Code      obd.Code
	Part      bench.Part
	Quantity  bench.Quantity
	Mark      bench.Mark
	Swap      *proof.SwapResult
	Table     string // text of the tables
}

// TellingKind is what is told.
type TellingKind uint8

// Kinds of what is told.
const (
	ToldNothing    TellingKind = iota
	MissesFall                 // Among, Cylinders, Misses, All: how the misses fall on the cylinders
	LastFall                   // the same, as the car counted them in its last driving cycle
	CodesName                  // Cylinders, none where the code names none
	RatesDiffer                // From, FromRate, To, ToRate
	RatesByHeat                // the same, in like running
	MissesOften                // ToRate
	NeverFires                 // whatever is asked of it
	ComeInRuns                 // the misses do
	ComeOneByOne               // the misses do
	MissesGrew                 // Cylinders, one
	MissesKept                 // their rate
	PartnerMisses              // Cylinders, the one; Misses, and All of the others
	DipsDiffer                 // FromRate in Park or Neutral, ToRate in gear
	StoredUnder                // RPM, Load
	StoredAt                   // Celsius
	CodeStored                 // Code
	CodeAbsent                 // none of its kind
	CodeLean                   // Code
	CodeRich                   // Code
	MixtureAbsent              // no lean or rich code
	OwnTrim                    // Trim, Own, Cylinders
	TrimShape                  // Trim, Where, Idle
	TrimLevel                  // Trim, Where, Bank
	BanksApart                 // Trim
	PartMeasured               // Part, Quantity, Mark; Cylinders, one or none
	MeasuredEven               // Part, Quantity
	MeasuredLow                // Part, Quantity, Cylinders
	MeasuredBeside             // Part, Quantity, Cylinders: off on neighbours
	MeasuredOff                // Part, Quantity, Cylinders
	MeasuredSound              // Part, Quantity, Cylinders: off where nothing misses
	PartsSwapped               // Swap
	ToldByDriver               // Table
	MostCommon                 // no fact speaks for the cause more than for others
)

// Among is what cylinders have in common.
type Among uint8

// What cylinders have in common, as the levels of the feature "scope" have it.
const (
	OneAlone   Among = scopeOne
	ACoil      Among = scopePair
	Neighbours Among = scopeNeighbours
	ABank      Among = scopeBank
	AllAlike   Among = scopeAll
	Unevenly   Among = scopeSeveral
)

// Running is running that is compared with other: that of a Place, or by heat.
type Running uint8

// Kinds of running beside those of Place.
const (
	WhenCooler Running = Places + iota
	WhenHottest
	WhenCold
	WhenWarm
)

// Text is a text of the tables, which speaks of the cylinders that miss ({cyl}, and {a} for the first) and of a clean one to
// exchange parts with ({other}, {b}).
type Text struct {
	Table     string
	Cylinders []int // that miss; empty for each of the engine
	Clean     int   // 0: none
}

// Note is what a reader must know to take the shares for what they are.
type Note struct {
	Kind      NoteKind
	Cylinders []int // of OtherFault: those that miss as well
	Worst     []int // and those that are explained
	Part      bench.Part
	Quantity  bench.Quantity
	Code      obd.Code // of MonitorStopped
}

// NoteKind is what a note tells.
type NoteKind uint8

// Kinds of notes.
const (
	CodesAlone     NoteKind = iota // there are no counts
	CodesUnseen                    // no miss was seen in the drives
	LastCycleAlone                 // codes and the car's own counts of its last driving cycle
	DipsAlone                      // codes and idle dips
	OtherFault                     // Cylinders, Worst
	LayoutNotTold
	IgnitionNotTold
	ClearedLately
	SupplyBad // Part, Quantity: to be put right first
	TrimsLeftOut
	ReportAlone    // what the driver reports
	MonitorStopped // Code: while it is set some cars do not watch for misfire
)

// Unexplained tells why there is nothing to explain.
type Unexplained struct {
	Bad     []bench.Reading // measured bad all the same
	Counted bool            // the misses are counted
	Driven  bool            // a drive was recorded
	Read    bool            // the codes were
	Stopped obd.Code        // one is set that stops the misfire monitor of some cars; 0: none
}
