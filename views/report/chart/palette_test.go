package chart

import (
	"fmt"
	"image/color"
	"math"
	"testing"

	"github.com/lucasb-eyer/go-colorful"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// sights are the ways of seeing colour: full, and without one kind of cone. The matrices work on linear sRGB; they are
// those of Machado, Oliveira and Fernandes, A Physiologically-based Model for Simulation of Color Vision Deficiency,
// IEEE TVCG 15(6), 2009, for severity 1.0 (from memory; that grey stays grey is checked below).
var sights = map[string][9]float64{
	"full":         {1, 0, 0, 0, 1, 0, 0, 0, 1},
	"protanopia":   {0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998},
	"deuteranopia": {0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881},
	"tritanopia":   {1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.303900},
}

func seen(c color.NRGBA, sight [9]float64) colorful.Color {
	full, _ := colorful.MakeColor(c)
	r, g, b := full.LinearRgb()
	mix := func(row int) float64 { return sight[row]*r + sight[row+1]*g + sight[row+2]*b }
	return colorful.LinearRgb(mix(0), mix(3), mix(6)).Clamped()
}

// distance is CIEDE2000 (CIE 142:2001), in units of L*.
func distance(a, b colorful.Color) float64 { return 100 * a.DistanceCIEDE2000(b) }

func lightness(c color.NRGBA) float64 {
	full, _ := colorful.MakeColor(c)
	l, _, _ := full.Lab()
	return 100 * l
}

// contrast is the contrast ratio of WCAG 2.1.
func contrast(a, b color.NRGBA) float64 {
	luminance := func(c color.NRGBA) float64 {
		full, _ := colorful.MakeColor(c)
		r, g, b := full.LinearRgb()
		return 0.2126*r + 0.7152*g + 0.0722*b
	}
	x, y := luminance(a), luminance(b)
	return (max(x, y) + 0.05) / (min(x, y) + 0.05)
}

// themes are the colours of a role on either page.
var themes = map[string]func(role) color.NRGBA{
	"paper": func(r role) color.NRGBA { return r.paper },
	"dark":  func(r role) color.NRGBA { return r.dark },
}

// The yardstick is right: grey is grey to everybody, and the formula gives what its authors print (Sharma, Wu and
// Dalal, The CIEDE2000 Color-Difference Formula, Color Research and Application 30(1), 2005, table 1, from memory).
func TestYardstick(t *testing.T) {
	for name, sight := range sights {
		for row := 0; row < 9; row += 3 {
			assert.InDelta(t, 1, sight[row]+sight[row+1]+sight[row+2], 2e-6, name)
		}
	}
	for _, pair := range []struct {
		a, b [3]float64
		want float64
	}{
		{[3]float64{50, 2.6772, -79.7751}, [3]float64{50, 0, -82.7485}, 2.0425},
		{[3]float64{50, 0, 0}, [3]float64{50, -1, 2}, 2.3669},
		{[3]float64{60.2574, -34.0099, 36.2677}, [3]float64{60.4626, -34.1751, 39.4387}, 1.2644},
	} {
		lab := func(v [3]float64) colorful.Color { return colorful.Lab(v[0]/100, v[1]/100, v[2]/100) }
		assert.InDelta(t, pair.want, distance(lab(pair.a), lab(pair.b)), 1e-4)
	}
	assert.InDelta(t, 21, contrast(hue(0), hue(0xffffff)), 1e-9, "WCAG 2.1: black on white")
}

// The gear states stay apart for every reader and in print without colour.
func TestGearStatesStayApart(t *testing.T) {
	marks := []role{park, drive, reverse, moving}
	for theme, of := range themes {
		for i, a := range marks {
			for _, b := range marks[:i] {
				for name, sight := range sights {
					assert.Greater(t, distance(seen(of(a), sight), seen(of(b), sight)), 20.0, "%s and %s, %s, %s", a.name, b.name, theme, name)
				}
				assert.Greater(t, math.Abs(lightness(of(a))-lightness(of(b))), 7.0, "%s and %s, %s, in grey", a.name, b.name, theme)
			}
			assert.Greater(t, contrast(of(a), of(ground)), 3.0, "%s on %s (WCAG 2.1, 1.4.11)", a.name, theme)
		}
	}
}

// The steps of the map run one way in lightness, and no two neighbours look alike.
func TestMapStepsRunOneWay(t *testing.T) {
	require.Len(t, heat, len(shades))
	for theme, of := range themes {
		way := lightness(of(heat[1])) - lightness(of(heat[0]))
		for i := 1; i < len(heat); i++ {
			step := lightness(of(heat[i])) - lightness(of(heat[i-1]))
			assert.Greater(t, step*math.Copysign(1, way), 5.0, "%s, step %d", theme, i)
			for name, sight := range sights {
				assert.Greater(t, distance(seen(of(heat[i]), sight), seen(of(heat[i-1]), sight)), 6.0, "%s, step %d, %s", theme, i, name)
			}
		}
	}
}

// Letters and lines can be read on all they stand on (WCAG 2.1: 4.5 for text, 3 for what is drawn).
func TestContrast(t *testing.T) {
	tints := []role{ground, parkTint, driveTint, reverseTint, movingTint, unknownTint}
	for theme, of := range themes {
		for _, under := range tints {
			assert.Greater(t, contrast(of(ink), of(under)), 7.0, "ink on %s, %s", under.name, theme)
			assert.Greater(t, contrast(of(miss), of(under)), 4.5, "miss on %s, %s", under.name, theme)
		}
		assert.Greater(t, contrast(of(muted), of(ground)), 4.5, theme)
		for class := range heat {
			assert.Greater(t, contrast(of(over(class)), of(heat[class])), 4.5, "letters on step %d, %s", class, theme)
		}
		for i, a := range tints[1:5] {
			for _, b := range tints[1 : i+1] {
				assert.Greater(t, math.Abs(lightness(of(a))-lightness(of(b))), 1.5, "%s and %s, %s, in grey", a.name, b.name, theme)
			}
		}
	}
}

// A colour on paper tells its role, or the page could not exchange it.
func TestColoursAreDistinct(t *testing.T) {
	names := make(map[string]string)
	for _, r := range palette() {
		assert.Empty(t, names[hex(r.paper)], "%s is also", r.name)
		names[hex(r.paper)] = r.name
		red, green, blue, _ := r.RGBA()
		assert.Equal(t, hex(r.paper), fmt.Sprintf("#%02X%02X%02X", red>>8, green>>8, blue>>8))
		assert.NotEqual(t, "#000000", hex(r.paper), "the SVG canvas leaves out what is black")
	}
}
