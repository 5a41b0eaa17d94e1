package chart_test

import (
	"encoding/xml"
	"errors"
	"flag"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"stumble/misfire"
	"stumble/views/report/chart"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func TestGolden(t *testing.T) {
	charts := all()
	for _, name := range []string{"rates", "strip", "ratios", "map"} {
		t.Run(name, func(t *testing.T) {
			got := svg(t, charts[name].Label("A chart of "+name, "What it shows."))
			path := filepath.Join("..", "..", "..", "testdata", "reports", "chart-"+name+".svg")
			if *update {
				require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
				return
			}
			want, err := os.ReadFile(path)
			require.NoError(t, err, "run with -update to write it")
			require.Equal(t, string(want), got)
		})
	}
}

// A chart is one element that brings all it needs and cannot clash with another of the page.
func TestSVGStandsWithinAPage(t *testing.T) {
	for name, c := range all() {
		text := svg(t, c.Label(`Marks & "names" <b>`, "a < b"))
		require.True(t, strings.HasPrefix(text, "<svg "), name)
		assert.Contains(t, text, "<title>Marks &amp; &#34;names&#34; &lt;b&gt;</title>", name)
		depth, roots := 0, 0
		for d := xml.NewDecoder(strings.NewReader(text)); ; {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err, name)
			switch token := token.(type) {
			case xml.StartElement:
				if depth == 0 {
					roots++
				}
				depth++
				for _, a := range token.Attr {
					assert.NotEqual(t, "id", a.Name.Local, name)
					assert.NotEqual(t, "href", a.Name.Local, name)
				}
			case xml.EndElement:
				depth--
			}
		}
		assert.Equal(t, 1, roots, name)
		assert.Zero(t, depth, name)
		assert.Equal(t, strings.Count(text, "<text "), strings.Count(text, `<text textLength="`), name)
		assert.NotContains(t, strings.Replace(text, `xmlns="http://www.w3.org/2000/svg"`, "", 1), "://", name)
		for _, face := range regexp.MustCompile(`font-family:[^;"]*`).FindAllString(text, -1) {
			assert.True(t, strings.HasSuffix(face, ",sans-serif"), "%s asks for %s alone", name, face)
		}
	}
}

// Every colour of a chart can be changed by the page: none stands by itself.
func TestEveryColourIsAVariable(t *testing.T) {
	light, dark := chart.Variables(false), chart.Variables(true)
	colour := regexp.MustCompile(`(?:fill|stroke):[^;"]*`)
	variable := regexp.MustCompile(`^(?:fill|stroke):var\((--chart-[a-z0-9-]+),(#[0-9A-F]{6})\)$`)
	for name, c := range all() {
		for _, found := range colour.FindAllString(svg(t, c), -1) {
			if found == "fill:none" {
				continue
			}
			parts := variable.FindStringSubmatch(found)
			require.NotNil(t, parts, "%s: %s", name, found)
			assert.Contains(t, light, parts[1]+":"+parts[2]+";", name)
			assert.Contains(t, dark, parts[1]+":", name)
		}
	}
}

// The same values give the same bytes, also for several who draw at once.
func TestSameBytes(t *testing.T) {
	for name, c := range all() {
		want := svg(t, c)
		var all sync.WaitGroup
		for range 3 {
			all.Go(func() { assert.Equal(t, want, svg(t, c), name) })
		}
		all.Wait()
	}
}

// A page with the strips of several drives of ten hours on sixteen cylinders stays under 3 MiB.
func TestLongDriveIsSmall(t *testing.T) {
	charts := all()
	assert.Less(t, len(svg(t, charts["strip-long"])), 3<<20/4)
	assert.Less(t, len(svg(t, charts["strip"])), 64<<10)
}

func TestNothingToDraw(t *testing.T) {
	unknown := math.NaN()
	assert.Nil(t, words().Rates(nil, 1, chart.Wide))
	assert.Nil(t, words().Rates([]chart.Rate{{Cylinder: 1, Rate: unknown}}, 1, chart.Wide))
	assert.Nil(t, words().Strip(chart.Drive{}, chart.Wide))
	assert.Nil(t, words().Strip(chart.Drive{Moments: moments(3, 1, 1)}, chart.Wide), "of how many cylinders is not known")
	assert.Nil(t, words().Ratios(nil, chart.Wide))
	assert.Nil(t, words().Map(nil, chart.Wide))
	assert.Nil(t, words().Map([]chart.Spot{{Firings: 0}, {Firings: unknown}, {RPM: misfire.RPMBand(99), Firings: 9}}, chart.Wide))
}

// What no car should report is drawn all the same, and never writes a number that a browser cannot read.
func TestStrangeValues(t *testing.T) {
	odd := []float64{0, 1e-12, 0.001, 1, 999.9, 1000, 4000, 1e9, math.Inf(1), math.NaN()}
	if testing.Short() {
		odd = []float64{0, 1e-12, 4000, math.Inf(1), math.NaN()}
	}
	for _, a := range odd {
		for _, b := range odd {
			m := moments(5, 2, 1)
			m[1].RPM, m[2].RPM, m[1].Load, m[2].Load = a, b, b, a
			m[3].At = start.Add(-time.Hour)
			m[4].Gear = 200
			charts := map[string]*chart.Chart{
				"rates":  words().Rates([]chart.Rate{{Cylinder: 1, Rate: a, Low: min(a, b), High: b}, {Cylinder: 2, Rate: 1, Low: 0, High: a}}, 1, chart.Wide),
				"ratios": words().Ratios([]chart.Ratio{{Label: "x", Ratio: a, Low: min(a, b), High: b}}, chart.Wide),
				"map":    words().Map([]chart.Spot{{Firings: 100, Misses: b, Rate: a}, {Load: 1, Firings: 100, Misses: a, Rate: b, Thin: true}}, chart.Wide),
				"strip":  words().Strip(chart.Drive{Moments: m, Cylinders: 99, Marks: []time.Time{{}, start.Add(99 * time.Hour)}}, chart.Wide),
			}
			for name, c := range charts {
				if c != nil {
					assert.NotRegexp(t, `NaN|Inf|e[+-]\d`, regexp.MustCompile(`<text[^>]*>[^<]*</text>`).ReplaceAllString(svg(t, c), ""), "%s of %v and %v", name, a, b)
				}
			}
		}
	}
}
