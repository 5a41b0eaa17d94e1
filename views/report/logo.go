package report

import (
	"bytes"
	"fmt"
	"image"
	_ "image/jpeg" // the two kinds of pictures that every page can show
	_ "image/png"
)

// Logo is a picture that was looked at and found fit to print.
type Logo struct {
	Media         string // image/png or image/jpeg
	Data          []byte // the file as it was
	Width, Height int    // in its own points
}

// What a logo may be: a page carries it within itself.
const (
	LargestLogo = 1 << 20 // bytes
	mostPixels  = 4000    // a side
)

// NewLogo looks at a picture. It must be whole: what shows half on a screen may not print at all. An error says in a
// line what to do.
func NewLogo(data []byte) (*Logo, error) {
	if len(data) > LargestLogo {
		return nil, fmt.Errorf("it is larger than %d KiB: make it smaller", LargestLogo>>10)
	}
	size, kind, err := image.DecodeConfig(bytes.NewReader(data))
	switch {
	case err != nil || kind != "png" && kind != "jpeg":
		return nil, fmt.Errorf("it is no PNG or JPEG picture: save it as one")
	case size.Width < 1 || size.Height < 1 || size.Width > mostPixels || size.Height > mostPixels:
		return nil, fmt.Errorf("it has %d by %d points: at most %d a side can be printed", size.Width, size.Height, mostPixels)
	}
	if _, _, err := image.Decode(bytes.NewReader(data)); err != nil {
		return nil, fmt.Errorf("it is damaged (%w): save it anew", err)
	}
	return &Logo{Media: "image/" + kind, Data: data, Width: size.Width, Height: size.Height}, nil
}
