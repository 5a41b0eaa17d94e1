package report

import (
	"bytes"
	"image"
	"image/gif"
	"image/jpeg"
	"image/png"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// picture is a PNG of a size.
func picture(t testing.TB, width, height int) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, image.NewNRGBA(image.Rect(0, 0, width, height))))
	return b.Bytes()
}

func testLogo(t testing.TB, width, height int) *Logo {
	t.Helper()
	l, err := NewLogo(picture(t, width, height))
	require.NoError(t, err)
	return l
}

func TestLogo(t *testing.T) {
	l := testLogo(t, 60, 30)
	assert.Equal(t, "image/png", l.Media)
	assert.Equal(t, [2]int{60, 30}, [2]int{l.Width, l.Height})
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 9, 7)), nil))
	l, err := NewLogo(b.Bytes())
	require.NoError(t, err)
	assert.Equal(t, "image/jpeg", l.Media)

	var animated bytes.Buffer
	require.NoError(t, gif.Encode(&animated, image.NewGray(image.Rect(0, 0, 9, 7)), nil))
	whole := picture(t, 200, 200)
	for want, data := range map[string][]byte{
		"no PNG or JPEG picture": animated.Bytes(), "no PNG or JPEG": nil, "it is damaged": whole[:len(whole)-30],
		"at most 4000 a side": picture(t, 4001, 1), "larger than 1024 KiB": make([]byte, LargestLogo+1),
	} {
		_, err := NewLogo(data)
		require.ErrorContains(t, err, want)
		assert.NotContains(t, err.Error(), "\n")
	}
}
