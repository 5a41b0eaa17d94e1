package wire

// Settings is what is set and remembered: {"kind":"settings",...}.
type Settings struct {
	Kind       string       `json:"kind"`
	Settings   Word         `json:"settings"` // the file; null where there is none
	Journal    Word         `json:"journal"`
	Remembered []Remembered `json:"remembered"`
}

// Remembered is something that the journal remembers, to begin the sooner the next time.
type Remembered struct {
	Of       string `json:"of"` // car, adapter, port
	Name     Word   `json:"name"`
	Time     Stamp  `json:"time"`
	Adapter  Word   `json:"adapter,omitempty"`
	Baud     int    `json:"baud,omitempty"`
	Examined string `json:"examined,omitempty"`
}
