package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"path/filepath"
	"strings"
	"unicode/utf8"

	"falsework/supports/cost"
)

// costReport is what cost prints with --json. Its fields stay what they are; more
// may come.
type costReport struct {
	Part      partReport      `json:"part"`
	Printer   machineReport   `json:"printer"`
	Supports  *estimateReport `json:"supports"`
	Baselines []denseReport   `json:"baselines"`
	Seconds   costSeconds     `json:"seconds"`
	Files     []string        `json:"files"`
	Warnings  []string        `json:"warnings"`
}

// machineReport has numbers as a printer file has them.
type machineReport struct {
	Name string `json:"name"`
	cost.Machine
}

// estimateReport is what printing one thing takes.
type estimateReport struct {
	TimeS      float64  `json:"time_s"`
	VolumeMM3  float64  `json:"volume_mm3"`
	MassG      float64  `json:"mass_g"`
	FilamentMM float64  `json:"filament_mm"`
	LengthMM   float64  `json:"length_mm"`
	TravelMM   float64  `json:"travel_mm"`
	Islands    int      `json:"islands"`
	Paths      int      `json:"paths"`
	Price      *float64 `json:"price"`
}

type denseReport struct {
	SpacingMM float64 `json:"spacing_mm"`
	estimateReport
	Ratio ratioReport `json:"ratio"`
}

// costSeconds is the time that each stage of a run took.
type costSeconds struct {
	Read  float64 `json:"read"`
	Cut   float64 `json:"cut"`
	Cost  float64 `json:"cost"`
	Write float64 `json:"write"`
}

func (c *costing) estimate(p priced) estimateReport {
	e := estimateReport{
		TimeS: to(p.TimeS, 2), VolumeMM3: to(p.VolumeMM3, 3), MassG: to(p.MassG, 3),
		FilamentMM: to(c.machine.FilamentMM(p.VolumeMM3), 2), LengthMM: to(p.LengthMM, 2), TravelMM: to(p.TravelMM, 2),
		Islands: p.islands, Paths: p.Paths,
	}
	if c.o.priced {
		price := to(p.MassG/1000*c.o.price, 4)
		e.Price = &price
	}
	return e
}

func (c *costing) report() *costReport {
	r := &costReport{
		Part: partOf(c.name, c.part), Printer: machineReport{c.machine.name, c.machine.Machine},
		Files: []string{}, Warnings: append([]string{}, c.warnings...),
		Seconds: costSeconds{to(c.seconds.Read, 4), to(c.seconds.Cut, 4), to(c.seconds.Cost, 4), to(c.seconds.Write, 4)},
	}
	for _, f := range printerFields {
		*f.at(&r.Printer.Machine) = f.value(c.machine.Machine)
	}
	if c.ours != nil {
		e := c.estimate(*c.ours)
		r.Supports = &e
	}
	for _, d := range c.dense {
		one := denseReport{SpacingMM: d.spacing, estimateReport: c.estimate(d)}
		if c.ours != nil {
			if ratio := cost.Ratio(c.ours.Estimate, d.Estimate); !ratio.NoBaseline {
				plastic, time := to(ratio.PlasticRatio, 4), to(ratio.TimeRatio, 4)
				one.Ratio = ratioReport{Plastic: &plastic, Time: &time}
			}
		}
		r.Baselines = append(r.Baselines, one)
	}
	for _, f := range c.files {
		r.Files = append(r.Files, filepath.Join(c.o.out, f.name))
	}
	return r
}

// tell prints the result.
func (c *costing) tell(io streams) error {
	r := c.report()
	if c.o.json {
		return tellJSON(io, r, r.Warnings)
	}
	r.print(io.out)
	return nil
}

// row returns the cells of one line of the table; ratio is nil in that of the
// supports.
func (e estimateReport) row(head string, ratio *ratioReport) []string {
	r := []string{head, duration(e.TimeS), fmt.Sprintf("%.0f", e.VolumeMM3), fmt.Sprintf("%.2f", e.MassG), fmt.Sprintf("%.0f", e.FilamentMM),
		fmt.Sprintf("%.0f", e.TravelMM), fmt.Sprint(e.Islands), fmt.Sprint(e.Paths)}
	if e.Price != nil {
		r = append(r, fmt.Sprintf("%.2f", *e.Price))
	}
	switch {
	case ratio == nil:
		r = append(r, "", "")
	case ratio.Time == nil || ratio.Plastic == nil:
		r = append(r, "–", "–")
	default:
		r = append(r, fmt.Sprintf("%.2f", *ratio.Time), fmt.Sprintf("%.2f", *ratio.Plastic))
	}
	return r
}

// print writes the table that a person reads.
func (r *costReport) print(w io.Writer) {
	line := lines{w}.tell
	lines{w}.part(r.Part, r.Warnings)
	m := r.Printer.Machine
	line("printer", "%s: %g mm/s, first layer %g, travel %g; %g mm/s²; %g g/cm³; filament of %g mm",
		r.Printer.Name, m.Speed, m.FirstSpeed, m.TravelSpeed, m.Accel, m.Density, m.Filament)
	fmt.Fprintln(w)
	heads := []string{"", "time", "mm³", "g", "filament mm", "travel mm", "islands", "paths"}
	if r.Baselines[0].Price != nil {
		heads = append(heads, "price")
	}
	rows := [][]string{append(heads, "time ours/dense", "plastic ours/dense")}
	if r.Supports != nil {
		rows = append(rows, r.Supports.row("supports", nil))
	}
	for _, d := range r.Baselines {
		rows = append(rows, d.row(denseName(d.SpacingMM), &d.Ratio))
	}
	width := make([]int, len(rows[0]))
	for _, row := range rows {
		for i, s := range row {
			width[i] = max(width[i], utf8.RuneCountInString(s))
		}
	}
	for _, row := range rows {
		var b strings.Builder
		for i, s := range row {
			pad := strings.Repeat(" ", width[i]-utf8.RuneCountInString(s))
			if i == 0 {
				b.WriteString(s + pad)
			} else {
				b.WriteString("  " + pad + s)
			}
		}
		fmt.Fprintln(w, strings.TrimRight(b.String(), " "))
	}
	fmt.Fprintln(w)
	switch {
	case r.Supports == nil:
		line("supports", "none given, so there is nothing to compare; name their file after the part's")
	case r.Baselines[0].Ratio.Time == nil:
		line("baseline", "nothing of this part is beyond the limit: dense supports would be empty")
	}
	line("caution", "times are a planner's, for comparing; your printer's clock will show something else")
	if len(r.Files) > 0 {
		line("files", "%s", fileList(r.Files))
	}
}

func denseName(spacing float64) string { return fmt.Sprintf("dense, every %g mm", spacing) }

// table returns the costs of each layer as comma-separated values, a
// row for each layer that anything is printed in or below.
func (c *costing) table() ([]byte, error) {
	things := c.dense
	heads := []string{"layer", "z_mm", "thickness_mm"}
	if c.ours != nil {
		things = append([]priced{*c.ours}, things...)
	}
	n := 0
	for _, t := range things {
		name := "supports"
		if t.spacing > 0 {
			name = fmt.Sprintf("dense_%gmm", t.spacing)
		}
		for _, field := range []string{"time_s", "volume_mm3", "length_mm", "travel_mm", "paths"} {
			heads = append(heads, name+"_"+field)
		}
		n = max(n, printed(t.Estimate))
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write(heads) // a Writer keeps its first error for the end
	for k := range n {
		row := []string{fmt.Sprint(k), number(to(c.partCut.Bottom(k), 6)), number(to(c.partCut.Thickness(k), 6))}
		for _, t := range things {
			var l cost.Layer
			if k < len(t.Layers) {
				l = t.Layers[k]
			}
			row = append(row, number(to(l.TimeS, 4)), number(to(l.VolumeMM3, 4)), number(to(l.LengthMM, 4)), number(to(l.TravelMM, 4)), fmt.Sprint(l.Paths))
		}
		_ = w.Write(row)
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// printed returns the number of layers up to the last in which something is
// printed.
func printed(e cost.Estimate) int {
	n := len(e.Layers)
	for n > 0 && e.Layers[n-1].Paths == 0 {
		n--
	}
	return n
}
