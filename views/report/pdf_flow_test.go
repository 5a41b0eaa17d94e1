package report

import (
	"io"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Boxes of every kind, put on pages: each once and in order, none beyond the lower edge that could stand above it, none
// parted from what it is glued to, and the titles of a table above it on each page.
func TestPDFFlow(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	flow := pdfFlow{top: 50, bottom: 450}
	for range 300 {
		var boxes []pdfBox
		var head *pdfBox
		for range 1 + random.IntN(60) {
			b := pdfBox{before: float64(random.IntN(20)), height: float64(1 + random.IntN(60)), glued: random.IntN(4) == 0, opens: random.IntN(12) == 0}
			switch random.IntN(8) {
			case 0:
				head = &pdfBox{height: 15}
			case 1:
				head = nil
			case 2:
				b.height = 0
			case 3:
				if random.IntN(9) == 0 {
					b.height = 500
				}
			}
			b.head = head
			boxes = append(boxes, b)
		}
		pages := flow.pages(boxes)
		next := 0
		for number, page := range pages {
			require.NotEmpty(t, page)
			y := flow.top
			for i, placed := range page {
				b := placed.box
				assert.GreaterOrEqual(t, placed.y, y-1e-9, "boxes do not cover each other")
				y = placed.y + b.height
				if y > flow.bottom {
					assert.Greater(t, b.height, 300.0, "only what is taller than a page is cut")
				}
				if next < len(boxes) && b == boxes[next].head && b != &boxes[next] && i < len(page)-1 && page[i+1].box == &boxes[next] {
					continue // titles once more
				}
				require.Same(t, &boxes[next], b)
				if i == 0 {
					assert.Equal(t, flow.top, placed.y, "no room above the first")
					assert.Nil(t, b.head, "a table goes on without its titles")
				}
				next++
			}
			if number < len(pages)-1 {
				assert.False(t, page[len(page)-1].box.glued && fits(boxes, next-1, flow), "parted from the next, which there was room for")
			}
		}
		require.Equal(t, len(boxes), next)
	}
	assert.Len(t, flow.pages(nil), 1)
}

// fits tells whether all that is glued to a box has room on one page.
func fits(boxes []pdfBox, at int, f pdfFlow) bool {
	first := at
	for first > 0 && boxes[first-1].glued {
		first--
	}
	group := boxes[first:f.group(boxes, first)]
	need := f.need(group, f.top)
	if group[0].head != nil {
		need += group[0].head.height
	}
	return need <= f.bottom
}

// The columns of a table take the room there is, and no more; those that are firm give way last, words are cut last of all.
func TestPDFColumns(t *testing.T) {
	firm := []column{{firm: true}, {}, {}}
	near := func(want, got []float64) {
		t.Helper()
		require.Len(t, got, len(want))
		for i := range want {
			assert.InDelta(t, want[i], got[i], 1e-9)
		}
	}
	near([]float64{60, 50, 40}, shared(150, []float64{50, 40, 30}, []float64{10, 10, 10}, firm))
	near([]float64{68, 58, 48}, shared(900, []float64{50, 40, 30}, []float64{10, 10, 10}, firm))
	near([]float64{50, 25, 20}, shared(95, []float64{50, 40, 30}, []float64{10, 10, 10}, firm))
	near([]float64{20, 10, 10}, shared(40, []float64{50, 40, 30}, []float64{10, 10, 10}, firm))
	near([]float64{10, 5, 5}, shared(20, []float64{50, 40, 30}, []float64{20, 10, 10}, firm))
}

// A row taller than any page is printed in parts, and all of it; no part is empty.
func TestPDFTallRows(t *testing.T) {
	s := pdfText(10, false, pdfInk)
	parts := []pdfPart{{style: s, lines: make([]string, 3)}, {style: s, lines: make([]string, 40), gap: 2}}
	lines := 0
	for len(parts) > 0 {
		var taken []pdfPart
		taken, parts = split(parts, 10*s.line)
		assert.Positive(t, partsHeight(taken))
		assert.LessOrEqual(t, partsHeight(taken), 10*s.line+1e-9)
		for _, part := range taken {
			lines += len(part.lines)
		}
	}
	assert.Equal(t, 43, lines)
	taken, left := split([]pdfPart{{style: s, lines: make([]string, 2)}}, 1)
	assert.Len(t, taken, 1, "a line at least, however little room there is")
	assert.Len(t, left, 1)
}

// BenchmarkPDF prints an hour's drive, and one ten times as long, beside the same in text. The pages grow with the
// lines of the tables, not with the seconds.
func BenchmarkPDF(b *testing.B) {
	c := crowded(b)
	moments := c.Drives[0].Moments
	c.Notes, c.Drives[0].Marks = nil, nil
	baseline := 0.0
	for _, run := range []struct {
		name  string
		hours int
		write func(*Document) error
	}{
		{"text of one hour", 1, func(d *Document) error { return d.WriteText(io.Discard, 72) }},
		{"one hour", 1, func(d *Document) error { return d.WritePDF(io.Discard) }},
		{"ten hours", 10, func(d *Document) error { return d.WritePDF(io.Discard) }},
	} {
		b.Run(run.name, func(b *testing.B) {
			c.Drives[0].Moments = moments[:min(run.hours*3600, len(moments))]
			for b.Loop() {
				if err := run.write(Compose(c, Options{})); err != nil {
					b.Fatal(err)
				}
			}
			each := float64(b.Elapsed()) / float64(b.N)
			if run.name == "one hour" {
				baseline = each
			}
			if run.hours > 1 && baseline > 0 {
				b.ReportMetric(each/baseline, "x-one-hour")
			}
		})
	}
}
