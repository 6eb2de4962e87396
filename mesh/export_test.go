package mesh

// WeldForTest gives the benchmarks the weld alone.
func WeldForTest(corners [][3][3]float32) *Mesh {
	w := newWelder(len(corners))
	for _, t := range corners {
		w.add(t[0], t[1], t[2])
	}
	return w.finish()
}

// ParseNumberForTest reads a number of a 3MF model.
func ParseNumberForTest(s string) (float64, bool) { return parseNumber([]byte(s)) }
