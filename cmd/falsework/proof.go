package main

import (
	"encoding/json"
	"io"
	"strings"

	"falsework/raster"
	"falsework/supports/prove"
)

// proofReport is the short form of a proof.
type proofReport struct {
	Verdict                string   `json:"verdict"` // holds or fails
	UnheldMM2              float64  `json:"unheld_mm2"`
	UnheldBestDirectionMM2 float64  `json:"unheld_best_direction_mm2"`
	CollisionsMM3          float64  `json:"collisions_mm3"`
	BlockedBodies          int      `json:"blocked_bodies"`
	Reasons                []string `json:"reasons"` // the most harmful first
}

func shortProof(r prove.Report) proofReport {
	p := proofReport{
		Verdict: string(r.Verdict), UnheldMM2: to(r.UnheldMM2, 4), UnheldBestDirectionMM2: to(r.UnheldBestDirectionMM2, 4),
		CollisionsMM3: to(r.CollisionsMM3, 4), BlockedBodies: r.BlockedBodies, Reasons: []string{},
	}
	for _, why := range r.Reasons {
		text := strings.TrimSuffix(why.Text, ".")
		if why.Remedy != "" {
			text += "; " + why.Remedy
		}
		p.Reasons = append(p.Reasons, text)
	}
	return p
}

// proofDocument is what the proof file holds.
type proofDocument struct {
	Part     string        `json:"part"`
	Settings proofSettings `json:"settings"`
	Proof    prove.Report  `json:"proof"`
}

// proofSettings are those of the plan under JSON's names.
type proofSettings struct {
	Nozzle    float64 `json:"nozzle_mm"`
	Line      float64 `json:"line_mm"`
	Layer     float64 `json:"layer_mm"`
	First     float64 `json:"first_layer_mm"`
	Limit     float64 `json:"limit_deg"`
	Bridge    float64 `json:"bridge_mm"`
	Gap       float64 `json:"gap_mm"`
	Direction string  `json:"direction"`
	Wall      float64 `json:"wall_mm"`
	Clearance float64 `json:"clearance_mm"`
	Lean      float64 `json:"lean_deg"`
	Margin    float64 `json:"margin"`
	Cell      float64 `json:"cell_mm"`
}

func (d proofDocument) encode(w io.Writer) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(d)
}

// slice is a set of cells of one layer.
type slice struct {
	k     int
	cells raster.Bits
}

func slicesOf(lists ...[]prove.Spot) []slice {
	var out []slice
	for _, list := range lists {
		for _, s := range list {
			out = append(out, slice{s.K, s.Cells})
		}
	}
	return out
}
