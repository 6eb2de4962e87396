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
	Body      estimateReport  `json:"body"`
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
	Readings
}

func machineOf(p printer) machineReport {
	r := machineReport{p.name, p.Machine, p.Readings}
	// Numbers as a file has them: a machine says none by a negative one.
	for _, v := range []*float64{&r.Retract, &r.RetractBeyond, &r.Visit, &r.MinLayer, &r.Infill} {
		*v = max(0, *v)
	}
	r.Solid = max(0, r.Solid)
	return r
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

	Print printReport `json:"print"`
}

// printReport is what a whole print takes, least layer times included.
type printReport struct {
	TimeS      float64  `json:"time_s"`
	MassG      float64  `json:"mass_g"`
	FilamentMM float64  `json:"filament_mm"`
	Price      *float64 `json:"price"`
}

func (p printer) printOf(things ...cost.Estimate) printReport {
	e := p.Total(things...)
	return printReport{to(e.TimeS, 2), to(e.MassG, 3), to(p.FilamentMM(e.VolumeMM3), 2), p.priceOf(e)}
}

// priceOf returns what an estimate's plastic costs, nil when no price is known.
func (p printer) priceOf(e cost.Estimate) *float64 {
	if p.Price == nil {
		return nil
	}
	v := to(e.MassG/1000**p.Price, 4)
	return &v
}

type denseReport struct {
	SpacingMM float64 `json:"spacing_mm"`
	estimateReport
	Ratio      ratioReport `json:"ratio"`
	PrintRatio ratioReport `json:"print_ratio"`
}

// costSeconds is the time that each stage of a run took.
type costSeconds struct {
	Read  float64 `json:"read"`
	Cut   float64 `json:"cut"`
	Cost  float64 `json:"cost"`
	Write float64 `json:"write"`
}

// estimate reports a thing that is printed, and the print of all it takes.
func (c *costing) estimate(p priced, print ...cost.Estimate) estimateReport {
	return estimateReport{
		TimeS: to(p.TimeS, 2), VolumeMM3: to(p.VolumeMM3, 3), MassG: to(p.MassG, 3),
		FilamentMM: to(c.machine.FilamentMM(p.VolumeMM3), 2), LengthMM: to(p.LengthMM, 2), TravelMM: to(p.TravelMM, 2),
		Islands: p.islands, Paths: p.Paths, Price: c.machine.priceOf(p.Estimate), Print: c.machine.printOf(print...),
	}
}

// ratioOf sets one cost over another, null where there is nothing to set it over.
func ratioOf(ours, dense cost.Estimate) ratioReport {
	r := cost.Ratio(ours, dense)
	if r.NoBaseline {
		return ratioReport{}
	}
	plastic, time := to(r.PlasticRatio, 4), to(r.TimeRatio, 4)
	return ratioReport{Plastic: &plastic, Time: &time}
}

func (c *costing) report() *costReport {
	r := &costReport{
		Part: partOf(c.name, c.part), Printer: machineOf(c.machine),
		Files: []string{}, Warnings: append([]string{}, c.warnings...),
		Seconds: costSeconds{to(c.seconds.Read, 4), to(c.seconds.Cut, 4), to(c.seconds.Cost, 4), to(c.seconds.Write, 4)},
	}
	body := c.body.Estimate
	r.Body = c.estimate(c.body, body)
	if c.ours != nil {
		e := c.estimate(*c.ours, body, c.ours.Estimate)
		r.Supports = &e
	}
	for _, d := range c.dense {
		one := denseReport{SpacingMM: d.spacing, estimateReport: c.estimate(d, body, d.Estimate)}
		if c.ours != nil {
			if one.Ratio = ratioOf(c.ours.Estimate, d.Estimate); one.Ratio.Time != nil {
				one.PrintRatio = ratioOf(c.machine.Total(body, c.ours.Estimate), c.machine.Total(body, d.Estimate))
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

// row returns the cells of one line of the table.
func (e estimateReport) row(head string, ratio *ratioReport) []string {
	r := []string{head, duration(e.TimeS), fmt.Sprintf("%.0f", e.VolumeMM3), fmt.Sprintf("%.2f", e.MassG), fmt.Sprintf("%.0f", e.FilamentMM),
		fmt.Sprintf("%.0f", e.TravelMM), fmt.Sprint(e.Islands), fmt.Sprint(e.Paths)}
	return append(append(r, priceCells(e.Price)...), ratio.cells()...)
}

// row returns the cells of one line of the table of whole prints.
func (p printReport) row(head string, ratio *ratioReport) []string {
	r := []string{head, duration(p.TimeS), fmt.Sprintf("%.2f", p.MassG), fmt.Sprintf("%.0f", p.FilamentMM)}
	return append(append(r, priceCells(p.Price)...), ratio.cells()...)
}

func priceCells(price *float64) []string {
	if price == nil {
		return nil
	}
	return []string{fmt.Sprintf("%.2f", *price)}
}

// cells writes time and plastic; r is nil in rows that are not compared with.
func (r *ratioReport) cells() []string {
	switch {
	case r == nil:
		return []string{"", ""}
	case r.Time == nil || r.Plastic == nil:
		return []string{"–", "–"}
	}
	return []string{fmt.Sprintf("%.2f", *r.Time), fmt.Sprintf("%.2f", *r.Plastic)}
}

// columns prints rows of cells below one another, the first to the left.
func columns(w io.Writer, rows [][]string) {
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
	whole := []string{"whole print", "time", "g", "filament mm"}
	if r.Body.Price != nil {
		heads, whole = append(heads, "price"), append(whole, "price")
	}
	ratios := []string{"time ours/dense", "plastic ours/dense"}
	rows, prints := [][]string{append(heads, ratios...)}, [][]string{append(whole, ratios...)}
	rows, prints = append(rows, r.Body.row("part", nil)), append(prints, r.Body.Print.row("part alone", nil))
	if r.Supports != nil {
		rows, prints = append(rows, r.Supports.row("supports", nil)), append(prints, r.Supports.Print.row("with supports", nil))
	}
	for _, d := range r.Baselines {
		name := denseName(d.SpacingMM)
		rows, prints = append(rows, d.row(name, &d.Ratio)), append(prints, d.Print.row("with "+name, &d.PrintRatio))
	}
	columns(w, rows)
	columns(w, prints)
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
	things, names := []priced{c.body}, []string{"part"}
	heads := []string{"layer", "z_mm", "thickness_mm"}
	if c.ours != nil {
		things, names = append(things, *c.ours), append(names, "supports")
	}
	for _, d := range c.dense {
		things, names = append(things, d), append(names, fmt.Sprintf("dense_%gmm", d.spacing))
	}
	n := 0
	for i, t := range things {
		name := names[i]
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
