package cost

import (
	"falsework/raster"
	"falsework/supports"
)

// Comparison sets supports against the dense baseline of the same part, printed
// by the same machine. Ratios are of extruded plastic and of time, each ours over
// the baseline's: below 1 is a saving.
type Comparison struct {
	Supports     Estimate `json:"supports"`
	Baseline     Estimate `json:"baseline"`
	SpacingMM    float64  `json:"spacing_mm"` // of the baseline's lines
	PlasticRatio float64  `json:"plastic_ratio"`
	TimeRatio    float64  `json:"time_ratio"`
	// NoBaseline is set when the baseline is empty, as for a part that needs no
	// support; both ratios are 0 then and say nothing.
	NoBaseline bool `json:"no_baseline,omitempty"`
}

// Compare prices sup, the layers of the supports, and the baseline of part with
// lines spacing mm apart (0: DefaultSpacing). Both stacks must be cut alike.
func Compare(sup, part *raster.Stack, s supports.Settings, m Machine, spacing float64) Comparison {
	if !(spacing > 0) {
		spacing = DefaultSpacing
	}
	_, base := Baseline(part, s, m, spacing)
	c := Ratio(Supports(sup, s, m), base)
	c.SpacingMM = spacing
	return c
}

// Ratio compares two estimates.
func Ratio(sup, baseline Estimate) Comparison {
	c := Comparison{Supports: sup, Baseline: baseline}
	if !(baseline.TimeS > 0) || !(baseline.VolumeMM3 > 0) {
		c.NoBaseline = true
		return c
	}
	c.PlasticRatio = sup.VolumeMM3 / baseline.VolumeMM3
	c.TimeRatio = sup.TimeS / baseline.TimeS
	return c
}
