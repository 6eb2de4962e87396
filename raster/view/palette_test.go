package view

import (
	"image/color"
	"math"
	"testing"
)

// Simulation of dichromats at severity 1.0 in linear sRGB: Machado, Oliveira,
// Fernandes 2009, A Physiologically-based Model for Simulation of Color Vision
// Deficiency, IEEE TVCG 15(6) 1291-1298, doi:10.1109/TVCG.2009.113, table of
// precomputed matrices.
var observers = []struct {
	name string
	m    [3][3]float64
}{
	{"full colour vision", [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}},
	{"protanopia", [3][3]float64{{0.152286, 1.052583, -0.204868}, {0.114503, 0.786281, 0.099216}, {-0.003882, -0.048116, 1.051998}}},
	{"deuteranopia", [3][3]float64{{0.367322, 0.860646, -0.227968}, {0.280085, 0.672501, 0.047413}, {-0.011820, 0.042940, 0.968881}}},
	{"tritanopia", [3][3]float64{{1.255528, -0.076749, -0.178779}, {-0.078411, 0.930809, 0.147602}, {0.004733, 0.691367, 0.303900}}},
}

// linear undoes the sRGB transfer curve (IEC 61966-2-1).
func linear(c color.NRGBA) [3]float64 {
	f := func(b uint8) float64 {
		x := float64(b) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	return [3]float64{f(c.R), f(c.G), f(c.B)}
}

func seenBy(m [3][3]float64, c color.NRGBA) [3]float64 {
	l := linear(c)
	var out [3]float64
	for i := range 3 {
		out[i] = min(1, max(0, m[i][0]*l[0]+m[i][1]*l[1]+m[i][2]*l[2]))
	}
	return out
}

// lab converts linear sRGB to CIE L*a*b* under D65 (CIE 15:2004; matrix of
// IEC 61966-2-1).
func lab(l [3]float64) [3]float64 {
	x := (0.4124*l[0] + 0.3576*l[1] + 0.1805*l[2]) / 0.95047
	y := 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	z := (0.0193*l[0] + 0.1192*l[1] + 0.9505*l[2]) / 1.08883
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	return [3]float64{116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))}
}

func cie76(p, q [3]float64) float64 {
	return math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
}

// ciede2000 follows Sharma, Wu, Dalal 2005, The CIEDE2000 Color-Difference
// Formula, Color Res. Appl. 30(1) 21-30, equations 2 to 22.
func ciede2000(p, q [3]float64) float64 {
	const deg = math.Pi / 180
	pow7 := func(x float64) float64 { return math.Pow(x, 7) }
	c25 := pow7(25)
	cm := (math.Hypot(p[1], p[2]) + math.Hypot(q[1], q[2])) / 2
	g := 0.5 * (1 - math.Sqrt(pow7(cm)/(pow7(cm)+c25)))
	polar := func(v [3]float64) (c, h float64) {
		a := (1 + g) * v[1]
		if a == 0 && v[2] == 0 {
			return 0, 0
		}
		h = math.Atan2(v[2], a) / deg
		if h < 0 {
			h += 360
		}
		return math.Hypot(a, v[2]), h
	}
	c1, h1 := polar(p)
	c2, h2 := polar(q)
	dl, dc := q[0]-p[0], c2-c1
	var dh, hm float64
	switch d := h2 - h1; {
	case c1*c2 == 0:
		hm = h1 + h2
	case math.Abs(d) <= 180:
		dh, hm = d, (h1+h2)/2
	case d > 180:
		dh, hm = d-360, (h1+h2+360)/2
	default:
		dh, hm = d+360, (h1+h2-360)/2
		if h1+h2 < 360 {
			hm = (h1 + h2 + 360) / 2
		}
	}
	if c1*c2 != 0 && math.Abs(h1-h2) > 180 {
		if h1+h2 < 360 {
			hm = (h1 + h2 + 360) / 2
		} else {
			hm = (h1 + h2 - 360) / 2
		}
	}
	dH := 2 * math.Sqrt(c1*c2) * math.Sin(dh/2*deg)
	lm, cpm := (p[0]+q[0])/2, (c1+c2)/2
	t := 1 - 0.17*math.Cos((hm-30)*deg) + 0.24*math.Cos(2*hm*deg) + 0.32*math.Cos((3*hm+6)*deg) - 0.20*math.Cos((4*hm-63)*deg)
	sl := 1 + 0.015*(lm-50)*(lm-50)/math.Sqrt(20+(lm-50)*(lm-50))
	sc := 1 + 0.045*cpm
	sh := 1 + 0.015*cpm*t
	rt := -2 * math.Sqrt(pow7(cpm)/(pow7(cpm)+c25)) * math.Sin(60*deg*math.Exp(-((hm-275)/25)*((hm-275)/25)))
	a, b, c := dl/sl, dc/sc, dH/sh
	return math.Sqrt(a*a + b*b + c*c + rt*b*c)
}

func TestCIEDE2000(t *testing.T) {
	// Sharma, Wu, Dalal 2005, table 1.
	for _, c := range []struct {
		p, q [3]float64
		want float64
	}{
		{[3]float64{50, 2.6772, -79.7751}, [3]float64{50, 0, -82.7485}, 2.0425},
		{[3]float64{50, 3.1571, -77.2803}, [3]float64{50, 0, -82.7485}, 2.8615},
		{[3]float64{50, 2.5, 0}, [3]float64{73, 25, -18}, 27.1492},
		{[3]float64{22.7233, 20.0904, -46.6940}, [3]float64{23.0331, 14.9730, -42.5619}, 2.0373},
		{[3]float64{2.0776, 0.0795, -1.1350}, [3]float64{0.9033, -0.0636, -0.5514}, 0.9082},
	} {
		if got := ciede2000(c.p, c.q); math.Abs(got-c.want) > 1e-4 {
			t.Errorf("ciede2000(%v, %v) = %.4f, want %.4f", c.p, c.q, got, c.want)
		}
	}
}

// Roles stay apart for every observer, in both measures. 20 is several times
// what is seen as a difference at a glance (common practice, no source).
func TestRolesStayApartUnderColourBlindness(t *testing.T) {
	const least = 20
	sets := [][]Role{{Part, Support, Pad, Unheld, Region}, {Part, Near, Over, Level}}
	for _, o := range observers {
		for _, set := range sets {
			for i, a := range set {
				for _, b := range set[i+1:] {
					p, q := lab(seenBy(o.m, fills[a])), lab(seenBy(o.m, fills[b]))
					d76, d00 := cie76(p, q), ciede2000(p, q)
					t.Logf("%s: %v / %v: ΔE76 %.1f, ΔE00 %.1f", o.name, a, b, d76, d00)
					if d76 < least || d00 < least {
						t.Errorf("%s: %v and %v differ by ΔE76 %.1f, ΔE00 %.1f, want at least %d", o.name, a, b, d76, d00, least)
					}
				}
			}
		}
	}
}

// contrast is the ratio of WCAG 2.2, "contrast ratio" and "relative luminance".
func contrast(a, b color.NRGBA) float64 {
	y := func(c color.NRGBA) float64 {
		l := linear(c)
		return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	}
	hi, lo := max(y(a), y(b)), min(y(a), y(b))
	return (hi + 0.05) / (lo + 0.05)
}

func TestLetteringContrast(t *testing.T) {
	for _, c := range []struct {
		name     string
		fg, back color.NRGBA
	}{
		{"ink on paper", Ink, Paper},
		{"captions on paper", InkSoft, Paper},
		{"failure in the title block", fills[Unheld], Paper},
		{"words on the failure band", Paper, fills[Unheld]},
	} {
		// 4.5 is WCAG 2.2 success criterion 1.4.3, level AA.
		if got := contrast(c.fg, c.back); got < 4.5 {
			t.Errorf("%s: contrast %.2f, want at least 4.5", c.name, got)
		} else {
			t.Logf("%s: contrast %.2f", c.name, got)
		}
	}
}
