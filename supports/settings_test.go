package supports_test

import (
	"fmt"
	"math"
	"testing"

	"falsework/supports"
)

// A void is counted in layers: the most no thicker than gap + h/2, at least one. Fused
// lines keep the default gap of 0.2 mm.
func TestVoidLayers(t *testing.T) {
	for _, c := range []struct {
		gap, layer float64
		want       int
	}{{0.2, 0.2, 1}, {0.4, 0.2, 2}, {0.2, 0.28, 1}, {0.2, 0.12, 2}, {0.05, 0.2, 1}, {supports.Fused, 0.2, 1}} {
		s, err := supports.Settings{Gap: c.gap, Layer: c.layer}.Resolve()
		if err != nil {
			t.Fatal(err)
		}
		if got := s.VoidLayers(); got != c.want {
			t.Errorf("gap %v, layer %v: %d empty layers, want %d", c.gap, c.layer, got, c.want)
		}
	}
}

func TestResolveRefuses(t *testing.T) {
	for name, s := range map[string]supports.Settings{
		"thick layer": {Layer: 0.35}, "thick first": {First: 0.4}, "wide line": {Line: 1},
		"flat limit": {Limit: 85 * math.Pi / 180}, "short bridge": {Bridge: 1}, "wide gap": {Gap: 2},
		"tiny cell": {Cell: 1e-6}, "leaning past the limit": {Lean: 1.2}, "NaN": {Layer: math.NaN()}, "negative": {Nozzle: -0.4},
	} {
		if _, err := s.Resolve(); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

// Layer reach is h·tan(limit).
func ExampleSettings_Reach() {
	s, _ := supports.Settings{Layer: 0.2}.Resolve()
	fmt.Printf("%.2f mm\n", s.Reach())
	// Output: 0.20 mm
}

// A lone ledge is a line, or what was read off a print; never less than the limit
// allows each layer.
func TestLedge(t *testing.T) {
	for _, c := range []struct {
		s    supports.Settings
		want float64
	}{
		{supports.Settings{}, 0.4}, {supports.Settings{LoneLedge: 0.8}, 0.8}, {supports.Settings{LoneLedge: 0.3}, 0.3},
		{supports.Settings{LoneLedge: 0.1}, 0.2}, // h·tan 45° at h 0.2
	} {
		s, err := c.s.Resolve()
		if err != nil || math.Abs(s.Ledge()-c.want) > 1e-9 {
			t.Errorf("%+v: %g, %v; want %g", c.s, s.Ledge(), err, c.want)
		}
	}
	if _, err := (supports.Settings{LoneLedge: 9}).Resolve(); err == nil {
		t.Error("a ledge of 9 mm passes")
	}
}
