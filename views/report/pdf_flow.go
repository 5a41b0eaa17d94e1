package report

// pdfBox is something that is not parted by the end of a page: a line, a row, a chart.
type pdfBox struct {
	before float64 // room above it, but at the top of a page
	height float64
	glued  bool            // it stands on the same page as the next
	opens  bool            // it may well begin a page
	draw   func(y float64) // y is its upper edge
	head   *pdfBox         // drawn once more above it at the top of a page: the titles of its table
}

// pdfPlaced is a box and where its upper edge is.
type pdfPlaced struct {
	box *pdfBox
	y   float64
}

// pdfFlow puts boxes below each other between two heights of a page.
type pdfFlow struct{ top, bottom float64 }

// late is how much of a page is used up when a chapter rather begins the next one.
const late = 0.75

// pages gives the boxes of each page. There is always at least one page.
func (f pdfFlow) pages(boxes []pdfBox) (pages [][]pdfPlaced) {
	page, y := []pdfPlaced(nil), f.top
	turn := func() {
		pages = append(pages, page)
		page, y = nil, f.top
	}
	put := func(b *pdfBox) {
		if y > f.top {
			y += b.before
		}
		page = append(page, pdfPlaced{b, y})
		y += b.height
	}
	for i := 0; i < len(boxes); {
		group := boxes[i:f.group(boxes, i)]
		if y > f.top && (f.need(group, y) > f.bottom || group[0].opens && y > f.top+late*(f.bottom-f.top)) {
			turn()
		}
		for k := range group {
			b := &group[k]
			if y > f.top && y+b.before+b.height > f.bottom { // only in a group larger than a page
				turn()
			}
			if y == f.top && b.head != nil {
				put(b.head)
			}
			put(b)
		}
		i += len(group)
	}
	return append(pages, page)
}

// group is where the boxes end that stand on the same page as box i.
func (f pdfFlow) group(boxes []pdfBox, i int) int {
	for i < len(boxes)-1 && boxes[i].glued {
		i++
	}
	return i + 1
}

// need is where the lower edge of some boxes would be.
func (f pdfFlow) need(group []pdfBox, y float64) float64 {
	for i := range group {
		y += group[i].before + group[i].height
	}
	return y
}
