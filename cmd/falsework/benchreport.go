package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"

	"falsework/supports/cost"
)

// benchReport is what bench.json holds. Its fields stay what they are; more may
// come.
type benchReport struct {
	Settings proofSettings `json:"settings"`
	Printer  machineReport `json:"printer"`
	Rows     []benchRow    `json:"rows"`
	Mean     benchMean     `json:"mean"`
}

// benchRow is one part.
type benchRow struct {
	Name       string       `json:"name"`
	Triangles  int          `json:"triangles"`
	SizeMM     [3]float64   `json:"size_mm"`
	Verdict    string       `json:"verdict"` // holds, fails, or refused: not baked
	Problem    string       `json:"problem,omitempty"`
	Bodies     int          `json:"bodies"`
	ContactMM2 float64      `json:"contact_mm2"`
	Supports   benchTakes   `json:"supports"`
	Dense      []benchDense `json:"dense"` // in the order of cost.Spacings
	Print      wholeReport  `json:"print"` // dense at cost.DefaultSpacing
	Seconds    float64      `json:"seconds"`
	Key        string       `json:"key"` // of file, settings and program
	Warnings   []string     `json:"warnings,omitempty"`
	Files      []string     `json:"files,omitempty"` // that bake wrote, in its folder
}

// benchTakes is what supports take.
type benchTakes struct {
	TimeS     float64 `json:"time_s"`
	VolumeMM3 float64 `json:"volume_mm3"`
	MassG     float64 `json:"mass_g"`
}

func takesOf(e cost.Estimate) benchTakes {
	return benchTakes{to(e.TimeS, 2), to(e.VolumeMM3, 3), to(e.MassG, 3)}
}

type benchDense struct {
	SpacingMM float64 `json:"spacing_mm"`
	benchTakes
	Ratio ratioReport `json:"ratio"`
}

// benchMean has means, of 1 less each ratio, over the parts that hold and have
// supports and a baseline, and the same of the sums over those parts, to which large
// parts contribute most.
type benchMean struct {
	Parts        int     `json:"parts"`
	Time         float64 `json:"time_saved"`
	Plastic      float64 `json:"plastic_saved"`
	PrintTime    float64 `json:"print_time_saved"`
	PrintPlastic float64 `json:"print_plastic_saved"`
	SumTime      float64 `json:"sum_time_saved"`
	SumPlastic   float64 `json:"sum_plastic_saved"`
}

// dense returns the row's baseline at cost.DefaultSpacing.
func (r benchRow) dense() (d benchDense) {
	for _, d = range r.Dense {
		if d.SpacingMM == cost.DefaultSpacing {
			return d
		}
	}
	return benchDense{}
}

func meanOf(rows []benchRow) (m benchMean) {
	var ours, dense benchTakes
	for _, r := range rows {
		d, p := r.dense().Ratio, r.Print.Ratio
		if r.Verdict != "holds" || d.Time == nil || p.Time == nil {
			continue
		}
		ours.TimeS += r.Supports.TimeS
		ours.VolumeMM3 += r.Supports.VolumeMM3
		dense.TimeS += r.dense().TimeS
		dense.VolumeMM3 += r.dense().VolumeMM3
		m.Parts++
		m.Time += 1 - *d.Time
		m.Plastic += 1 - *d.Plastic
		m.PrintTime += 1 - *p.Time
		m.PrintPlastic += 1 - *p.Plastic
	}
	for _, v := range []*float64{&m.Time, &m.Plastic, &m.PrintTime, &m.PrintPlastic} {
		*v = to(*v/float64(max(1, m.Parts)), 4)
	}
	if m.Parts > 0 {
		m.SumTime, m.SumPlastic = to(1-ours.TimeS/dense.TimeS, 4), to(1-ours.VolumeMM3/dense.VolumeMM3, 4)
	}
	return m
}

// save writes all files anew, whole.
func (r *benchReport) save(target *output) error {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetIndent("", "  ")
	if err := enc.Encode(r); err != nil {
		return err
	}
	table, err := r.table()
	if err != nil {
		return err
	}
	return target.place([]file{{target.names[0], table}, {target.names[tableJSON], b.Bytes()}, {target.names[2], []byte(r.markdown())}}, nil)
}

// table returns the rows as comma-separated values. What is not known is empty.
func (r *benchReport) table() ([]byte, error) {
	heads := []string{"part", "triangles", "verdict", "bodies", "contact_mm2", "supports_time_s", "supports_volume_mm3", "supports_mass_g"}
	for _, spacing := range cost.Spacings {
		for _, what := range []string{"time_s", "volume_mm3", "mass_g", "time_ratio", "plastic_ratio"} {
			heads = append(heads, fmt.Sprintf("dense_%gmm_%s", spacing, what))
		}
	}
	for _, what := range []string{"part", "with_supports", "with_dense"} {
		heads = append(heads, "print_"+what+"_time_s", "print_"+what+"_mass_g")
	}
	heads = append(heads, "print_time_ratio", "print_plastic_ratio", "seconds", "problem")
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write(heads) // a Writer keeps its first error for the end
	ratio := func(v *float64) string {
		if v == nil {
			return ""
		}
		return number(*v)
	}
	for _, row := range r.Rows {
		cells := []string{row.Name, fmt.Sprint(row.Triangles), row.Verdict}
		if row.Verdict == "refused" {
			cells = append(cells, make([]string, len(heads)-len(cells)-1)...)
			_ = w.Write(append(cells, row.Problem))
			continue
		}
		cells = append(cells, fmt.Sprint(row.Bodies), number(row.ContactMM2),
			number(row.Supports.TimeS), number(row.Supports.VolumeMM3), number(row.Supports.MassG))
		for _, d := range row.Dense {
			cells = append(cells, number(d.TimeS), number(d.VolumeMM3), number(d.MassG), ratio(d.Ratio.Time), ratio(d.Ratio.Plastic))
		}
		for _, p := range []printReport{row.Print.Part, row.Print.Supports, row.Print.Dense} {
			cells = append(cells, number(p.TimeS), number(p.MassG))
		}
		cells = append(cells, ratio(row.Print.Ratio.Time), ratio(row.Print.Ratio.Plastic), number(row.Seconds), row.Problem)
		_ = w.Write(cells)
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// benchHeads are those of the table that a person reads, on screen and in a page; the
// last column is the only one that depends on the computer.
var benchHeads = []string{"part", "supports", "g", "dense", "g", "time ratio", "plastic ratio",
	"print", "dense print", "print ratio", "contact mm²", "bodies", "verdict", "seconds"}

func (r benchRow) cells() []string {
	if r.Verdict == "refused" {
		out := []string{r.Name}
		for range len(benchHeads) - 3 {
			out = append(out, "")
		}
		return append(out, "refused", "")
	}
	d := r.dense()
	ours := []string{duration(r.Supports.TimeS), fmt.Sprintf("%.2f", r.Supports.MassG)}
	if r.Supports.TimeS == 0 {
		ours = []string{"none", "0"}
	}
	ratio := d.Ratio.cells()
	return []string{r.Name, ours[0], ours[1], duration(d.TimeS), fmt.Sprintf("%.2f", d.MassG), ratio[0], ratio[1],
		duration(r.Print.Supports.TimeS), duration(r.Print.Dense.TimeS), r.Print.Ratio.cells()[0],
		fmt.Sprintf("%.0f", r.ContactMM2), fmt.Sprint(r.Bodies), r.Verdict, fmt.Sprintf("%.1f", r.Seconds)}
}

// print writes the table that a person reads.
func (r *benchReport) print(w io.Writer) {
	rows := [][]string{benchHeads}
	for _, row := range r.Rows {
		rows = append(rows, row.cells())
	}
	columns(w, rows)
	line := lines{w}.tell
	for _, row := range r.Rows {
		if row.Verdict != "holds" {
			line(row.Verdict, "%s: %s", row.Name, row.Problem)
		}
	}
	line("mean", "%s", r.Mean.words())
	line("caution", "times are a planner's, for comparing; your printer's clock will show something else")
}

func (m benchMean) words() string {
	if m.Parts == 0 {
		return "no part has supports and a baseline to compare"
	}
	percent := func(share float64) string { return fmt.Sprintf("%d %%", int(math.Round(100*share))) }
	return fmt.Sprintf("over %s: %s of the supports' time and %s of their plastic saved, %s and %s of the whole print's; of the sums over these parts %s and %s",
		count(m.Parts, "part that holds on supports", "parts that hold on supports"), percent(m.Time), percent(m.Plastic),
		percent(m.PrintTime), percent(m.PrintPlastic), percent(m.SumTime), percent(m.SumPlastic))
}

// published are results of others, as they give them. They are of other parts and
// of other dense supports.
var published = []struct {
	source, plastic, time string
	plasticMean, timeMean float64 // shares of 1 saved, 0: no figure to compare with
}{
	{"Schmidt & Umetani 2014, SIGGRAPH Studio, branching supports", "at least 75 %", "25–50 %", 0.75, 0.5},
	{"Vanek, Galicia, Benes 2014, CGF 33(5), doi 10.1111/cgf.12437", "40.5 % mean (24.5–68.1)", "29.4 % mean (13.9–49.5)", 0.405, 0.294},
	{"Feng et al. 2021, RPJ 27(10) 1872, against earlier trees", "up to 46.7 %", "", 0, 0},
	{"Eng. Proc. 2025, 100(1) 53, supports designed by hand", "", "up to 59 min", 0, 0},
}

// markdown returns the table for a page.
func (r *benchReport) markdown() string {
	var b strings.Builder
	fmt.Fprintf(&b, "Time and grams of the supports alone and of dense ones with lines every %g mm, ratios of ours over dense; then time of the whole print with either. Layers of %g mm, printer: %s. Seconds are what baking took.\n\n",
		cost.DefaultSpacing, r.Settings.Layer, r.Printer.Name)
	row := func(cells []string) { fmt.Fprintf(&b, "| %s |\n", strings.Join(cells, " | ")) }
	row(benchHeads)
	b.WriteString("|---|" + strings.Repeat("---:|", len(benchHeads)-3) + "---|---:|\n")
	for _, part := range r.Rows {
		row(part.cells())
	}
	b.WriteString("\n")
	for _, part := range r.Rows {
		if part.Verdict != "holds" {
			fmt.Fprintf(&b, "- %s %s: %s\n", part.Name, part.Verdict, part.Problem)
		}
	}
	m := r.Mean
	fmt.Fprintf(&b, "Mean %s.\n\n", m.words())
	b.WriteString("Published figures come from other parts and other dense supports, and do not always say whether time is that of the supports or of the whole print. " +
		"So the most that can be said is that a mean of ours exceeds the published figure under our stated baseline, and it is said only where it does for supports alone and, of time, for the whole print.\n\n")
	b.WriteString("| published | plastic saved | time saved | ours |\n|---|---|---|---|\n")
	for _, p := range published {
		var says []string
		if m.Parts > 0 && p.plasticMean > 0 {
			says = append(says, verdictOf("plastic", m.Plastic > p.plasticMean))
		}
		if m.Parts > 0 && p.timeMean > 0 {
			says = append(says, verdictOf("time", min(m.Time, m.PrintTime) > p.timeMean))
		}
		if len(says) == 0 {
			says = []string{"no mean to compare with"}
		}
		row([]string{p.source, p.plastic, p.time, strings.Join(says, "; ")})
	}
	return b.String()
}

func verdictOf(what string, exceeds bool) string {
	if exceeds {
		return what + " exceeds the published figure under our stated baseline"
	}
	return what + " does not exceed it"
}
