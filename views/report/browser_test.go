package report

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// browser is a real browser with a page open, and what it asked for and complained of meanwhile.
type browser struct {
	context.Context
	sync.Mutex
	asked      []string
	complaints []string
}

// browse opens a document as page. The time is for a browser that hangs.
func browse(t testing.TB, d *Document) *browser {
	t.Helper()
	path := filepath.Join(t.TempDir(), "report.html")
	var b bytes.Buffer
	require.NoError(t, d.WriteHTML(&b))
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(tool(t, "chromium")), chromedp.UserDataDir(t.TempDir()), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true),
	)
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	t.Cleanup(cancel)
	ctx, end := chromedp.NewExecAllocator(ctx, options...)
	t.Cleanup(end)
	ctx, closed := chromedp.NewContext(ctx)
	t.Cleanup(closed)
	w := &browser{Context: ctx}
	require.NoError(t, chromedp.Listen(ctx, func(event any) {
		w.Lock()
		defer w.Unlock()
		switch e := event.(type) {
		case *network.EventRequestWillBeSent:
			w.asked = append(w.asked, e.Request.URL)
		case *runtime.EventExceptionThrown:
			w.complaints = append(w.complaints, e.ExceptionDetails.Text)
		case *runtime.EventConsoleAPICalled:
			w.complaints = append(w.complaints, string(e.Type))
		}
	}))
	_, err := chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.Navigate("file://"+path)))
	return w
}

// evaluate gives the value of an expression in the page.
func evaluate[T any](t testing.TB, w *browser, expression string) T {
	t.Helper()
	value, err := chromedp.Run(w, chromedp.Evaluate[T](expression))
	require.NoError(t, err, expression)
	return value
}

// The page fits a telephone and a desk, light and dark, and asks for nothing from outside.
func TestBrowserShowsThePage(t *testing.T) {
	for name, c := range cases(t) {
		t.Run(name, func(t *testing.T) {
			d := Compose(c, Options{})
			w := browse(t, d)
			for _, width := range []int64{390, 768, 1280} {
				for _, scheme := range []string{"light", "dark"} {
					require.NoError(t, chromedp.Do(w, chromedp.EmulateViewport(width, 900)))
					_, err := chromedp.Call(w, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
						Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}},
					})
					require.NoError(t, err)
					whole := evaluate[float64](t, w, `document.documentElement.scrollWidth`)
					assert.LessOrEqual(t, whole, float64(width), "at %d points the page is wider than the window", width)
					assert.Empty(t, evaluate[[]string](t, w, outside), "at %d points", width)
				}
			}
			shown := evaluate[int](t, w, `[...document.querySelectorAll("svg")].filter(s => s.getBoundingClientRect().width > 300).length`)
			assert.Equal(t, len(figuresOf(d)), shown, "of a wide and a narrow chart one is shown")
			w.Lock()
			defer w.Unlock()
			assert.Empty(t, w.complaints)
			for _, url := range w.asked {
				assert.True(t, strings.HasPrefix(url, "file://") || strings.HasPrefix(url, "data:"), url)
			}
			assert.Len(t, w.asked, 1+strings.Count(strings.Join(w.asked, "\n"), "data:"), "the page alone")
		})
	}
}

// outside finds texts that reach beyond the window, but for those in a box that scrolls by itself, and beyond their chart.
const outside = `(() => {
	const beyond = [];
	for (const e of document.querySelectorAll("h1, h2, h3, h4, p, li, caption, figcaption, td, th, svg")) {
		const box = e.getBoundingClientRect();
		if (box.right > innerWidth + 1 && !e.closest(".scroll")) beyond.push(e.tagName + " " + e.textContent.slice(0, 40));
	}
	for (const e of document.querySelectorAll("svg text")) {
		const box = e.getBoundingClientRect(), chart = e.closest("svg").getBoundingClientRect();
		if (box.right > chart.right + 1 || box.left < chart.left - 1) beyond.push("text " + e.textContent);
	}
	return beyond;
})()`

func figuresOf(d *Document) (figures []*figure) {
	for _, b := range d.blocks {
		if f, ok := b.(*figure); ok {
			figures = append(figures, f)
		}
	}
	return figures
}

// The page says what the document says, on the screen and printed.
func TestBrowserSaysTheSame(t *testing.T) {
	d := Compose(repaired(t), Options{})
	w := browse(t, d)
	requireWords(t, wordsOf(d, true), evaluate[string](t, w, `document.body.innerText`))
	printed, err := chromedp.Run(w, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "printed.pdf")
	require.NoError(t, os.WriteFile(path, printed, 0o644))
	assert.Contains(t, string(output(t, "pdfinfo", path)), "pts (A4)")
	requireWords(t, wordsOf(d, true), string(output(t, "pdftotext", "-raw", path, "-")))
}
