package view

import "image/color"

// The sheet's colours: ink on warm paper, stone for what stays, dark teal for
// what is taken away, ochre, vermilion and violet for what the reader looks for. The
// lightnesses are far apart, so a black and white copy still reads.
var (
	Paper   = color.NRGBA{0xF4, 0xF0, 0xE6, 0xFF}
	Ink     = color.NRGBA{0x1F, 0x26, 0x29, 0xFF}
	InkSoft = color.NRGBA{0x5E, 0x61, 0x5C, 0xFF}

	fills = [roles]color.NRGBA{
		Part:    {0xD3, 0xD1, 0xC8, 0xFF},
		Support: {0x1B, 0x4B, 0x59, 0xFF},
		Pad:     {0xE0, 0xA4, 0x1A, 0xFF},
		Unheld:  {0xC6, 0x25, 0x1C, 0xFF},
		Region:  {0x94, 0x70, 0xC4, 0xFF},
		Ground:  {0xE9, 0xE3, 0xD3, 0xFF},
		Near:    {0xE0, 0xAE, 0x20, 0xFF},
		Over:    {0xBE, 0x48, 0x1A, 0xFF},
		Level:   {0x4A, 0x14, 0x4E, 0xFF},
	}
)

// Fill returns the colour of a role.
func Fill(r Role) color.NRGBA { return fills[r] }

// mix goes from a to b as t goes from 0 to 1.
func mix(a, b color.NRGBA, t float64) color.NRGBA {
	f := func(x, y uint8) uint8 { return uint8(float64(x) + t*(float64(y)-float64(x)) + 0.5) }
	return color.NRGBA{f(a.R, b.R), f(a.G, b.G), f(a.B, b.B), 0xFF}
}

// tone shades a fill: light is 1 for a face towards the lamp, 0 for one that
// gets none of it. Lit faces go towards paper and shaded ones towards ink, so
// the tones stay of one family.
func tone(fill color.NRGBA, light float64) color.NRGBA {
	const shade = 0.36
	// The same step towards paper is a far greater one for a dark fill.
	shine := 0.16 + 0.30*float64(fill.G)/255
	if light < 0.5 {
		return mix(fill, Ink, shade*(1-2*light))
	}
	return mix(fill, color.NRGBA{0xFF, 0xFF, 0xFB, 0xFF}, shine*(2*light-1))
}
