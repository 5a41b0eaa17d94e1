package report

// Logo is a picture that was looked at and found fit to print.
type Logo struct {
	Media         string // image/png or image/jpeg
	Data          []byte // the file as it was
	Width, Height int    // in its own points
}
