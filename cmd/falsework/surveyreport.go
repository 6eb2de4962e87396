package main

import (
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"falsework/supports/survey"
)

// surveyReport is what survey prints with --json. Its fields stay what they are;
// more may come.
type surveyReport struct {
	Part          partReport    `json:"part"`
	Need          needReport    `json:"need"`
	Notes         []noteReport  `json:"notes"`
	CertifiedDeg  float64       `json:"certified_deg"`
	CertifiedRise float64       `json:"certified_rise_mm"`
	Seconds       surveySeconds `json:"seconds"`
	Files         []string      `json:"files"`
	Warnings      []string      `json:"warnings"`
}

// surveySeconds is the time that each stage of a survey took.
type surveySeconds struct {
	Read   float64 `json:"read"`
	Cut    float64 `json:"cut"`
	Survey float64 `json:"survey"`
	Write  float64 `json:"write"`
}

// findingReport is one region that would fall.
type findingReport struct {
	ID           int            `json:"id"`
	Kind         survey.Kind    `json:"kind"`
	Rule         survey.Rule    `json:"rule"`
	ZMM          [2]float64     `json:"z_mm"` // undersides of its lowest and highest layer
	FirstLayer   int            `json:"first_layer"`
	AreaMM2      float64        `json:"area_mm2"`
	FromPlateMM2 float64        `json:"from_plate_mm2"`
	CenterMM     [3]float64     `json:"center_mm"`
	SpanMM       float64        `json:"span_mm"`
	WorstSpanMM  float64        `json:"worst_span_mm"`
	SpanDeg      float64        `json:"span_deg"` // from +X
	Open         bool           `json:"open"`
	SteepestDeg  float64        `json:"steepest_deg"`
	Faces        []int          `json:"faces,omitzero"` // by survey only
	Remedies     []remedyReport `json:"remedies"`
}

type remedyReport struct {
	Name            string `json:"name"`
	Text            string `json:"text"`
	CutterTriangles int    `json:"cutter_triangles"`
}

type noteReport struct {
	Name   string     `json:"name"`
	Text   string     `json:"text"`
	AtMM   [3]float64 `json:"at_mm"`
	Advice bool       `json:"advice"`
}

func degrees(radians float64) float64 { return to(radians*180/math.Pi, 2) }

// needOf returns the short form of what does not hold, without faces.
func needOf(report *survey.Report) needReport {
	findings := report.Findings
	n := needReport{AreaMM2: to(report.Need.AreaMM2, 3), Regions: len(findings), Findings: []findingReport{}}
	for i := range findings {
		f := &findings[i]
		r := findingReport{
			ID: f.ID, Kind: f.Kind, Rule: f.Rule,
			ZMM:     [2]float64{to(f.Bounds.Min.Z, 4), to(f.Bounds.Max.Z, 4)},
			AreaMM2: to(f.AreaMM2, 3), FromPlateMM2: to(f.FromPlateMM2, 3),
			CenterMM: [3]float64{to(f.Center.X, 3), to(f.Center.Y, 3), to(f.Center.Z, 3)},
			SpanMM:   to(f.Span, 3), WorstSpanMM: to(f.WorstSpan, 3), SpanDeg: degrees(f.Angle), Open: f.Open,
			SteepestDeg: degrees(f.Steepest), Remedies: []remedyReport{},
		}
		if len(f.Cuts) > 0 {
			r.FirstLayer = f.Cuts[0].K
		}
		for _, re := range f.Remedies {
			one := remedyReport{Name: re.Name, Text: re.Text}
			if re.Cutter != nil {
				one.CutterTriangles = len(re.Cutter.Triangles)
			}
			r.Remedies = append(r.Remedies, one)
		}
		n.Findings = append(n.Findings, r)
	}
	return n
}

func (v *surveying) result() *surveyReport {
	r := &surveyReport{
		Part: partOf(v.name, v.part), Need: needOf(&v.report), Notes: []noteReport{},
		CertifiedDeg: degrees(v.report.Certified), CertifiedRise: to(v.report.CertifiedRise, 3),
		Files: []string{}, Warnings: append([]string{}, v.warnings...),
		Seconds: surveySeconds{to(v.seconds.Read, 4), to(v.seconds.Cut, 4), to(v.seconds.Survey, 4), to(v.seconds.Write, 4)},
	}
	for i := range r.Need.Findings {
		r.Need.Findings[i].Faces = append([]int{}, v.report.Findings[i].Faces...)
	}
	for _, n := range v.report.Notes {
		r.Notes = append(r.Notes, noteReport{n.Name, n.Text, [3]float64{to(n.X, 3), to(n.Y, 3), to(n.Z, 3)}, n.Advice})
	}
	for _, f := range v.pictures {
		r.Files = append(r.Files, filepath.Join(v.o.out, f.name))
	}
	if len(v.cutters) > 0 {
		r.Files = append(r.Files, filepath.Clean(v.o.cutters))
	}
	return r
}

// tell prints the result.
func (v *surveying) tell(io streams) error {
	r := v.result()
	if v.o.json {
		return tellJSON(io, r, r.Warnings)
	}
	r.print(io.out, v.o.cutters != "" && len(v.cutters) == 0)
	return nil
}

// words sums up in a line what would fall, kinds included.
func (n needReport) words() string {
	return fmt.Sprintf("%s mm² in %s would fall: %s", area(n.AreaMM2), count(n.Regions, "place", "places"), n.kinds())
}

// kinds lists the kinds of the regions, that with the largest area first.
func (n needReport) kinds() string {
	type group struct {
		kind survey.Kind
		n    int
		area float64
	}
	var groups []group
	for _, f := range n.Findings {
		at := slices.IndexFunc(groups, func(g group) bool { return g.kind == f.Kind })
		if at < 0 {
			at = len(groups)
			groups = append(groups, group{kind: f.Kind})
		}
		groups[at].n++
		groups[at].area += f.AreaMM2
	}
	sort.SliceStable(groups, func(a, b int) bool { return groups[a].area > groups[b].area })
	var words []string
	for _, g := range groups {
		if g.n > 1 {
			words = append(words, fmt.Sprintf("%d × %s", g.n, g.kind))
		} else {
			words = append(words, string(g.kind))
		}
	}
	return strings.Join(words, ", ")
}

// level tells of a kind that beads could bridge.
func level(k survey.Kind) bool {
	switch k {
	case survey.Hanging, survey.Ledge, survey.Ceiling, survey.Ring, survey.Bridge:
		return true
	}
	return false
}

// row returns a finding's cells in the table.
func (f *findingReport) row() []string {
	z := fmt.Sprintf("%.2f", f.ZMM[0])
	if f.ZMM[1] > f.ZMM[0] {
		z += fmt.Sprintf(" to %.2f", f.ZMM[1])
	}
	span, steepest := "–", "–"
	if level(f.Kind) && f.SpanMM > 0 {
		span = fmt.Sprintf("%.1f at %.0f°", f.SpanMM, f.SpanDeg)
		if f.Open {
			span += ", open"
		}
	}
	if f.SteepestDeg > 0 {
		steepest = fmt.Sprintf("%.0f°", f.SteepestDeg)
	}
	return []string{
		fmt.Sprint(f.ID), string(f.Kind), z, fmt.Sprintf("%.1f, %.1f", f.CenterMM[0], f.CenterMM[1]), area(f.AreaMM2), span, steepest,
		string(f.Rule), share(f.FromPlateMM2, f.AreaMM2),
	}
}

var surveyHeads = []string{"no", "kind", "z mm", "at x, y mm", "area mm²", "span mm", "steepest", "rule", "from plate"}

// area writes mm² with three digits, and with none behind the point from 100 on.
func area(mm2 float64) string {
	switch {
	case mm2 >= 99.95:
		return fmt.Sprintf("%.0f", mm2)
	case mm2 >= 9.995:
		return fmt.Sprintf("%.1f", mm2)
	}
	return fmt.Sprintf("%.2f", mm2)
}

// share writes part of whole as a percentage.
func share(part, whole float64) string {
	if whole <= 0 {
		return "–"
	}
	return fmt.Sprintf("%.0f %%", 100*part/whole)
}

// sentence makes a text one: a capital at its beginning, a full stop at its end.
func sentence(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(r)) + text[n:] + "."
}

// tableWidth is where sentences are wrapped, in letters: the table's own width.
const tableWidth = 100

// wrapped breaks text at spaces and sets every line but the first in by so much.
func wrapped(text string, indent int) string {
	var b strings.Builder
	at := indent
	for i, word := range strings.Fields(text) {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
		case at+1+n > tableWidth:
			b.WriteString("\n" + strings.Repeat(" ", indent))
			at = indent
		default:
			b.WriteByte(' ')
			at++
		}
		b.WriteString(word)
		at += n
	}
	return b.String()
}

// letter numbers remedies: a, b, …, z, aa, …
func letter(n int) string {
	if n < 26 {
		return string(rune('a' + n))
	}
	return letter(n/26-1) + letter(n%26)
}

// aligned sets rows of cells into columns and returns the width of the first.
func aligned(rows [][]string) (lines []string, first int) {
	width := make([]int, len(rows[0]))
	for _, r := range rows {
		for c, s := range r {
			width[c] = max(width[c], utf8.RuneCountInString(s))
		}
	}
	for _, r := range rows {
		line := ""
		for c, s := range r {
			line += s + strings.Repeat(" ", width[c]-utf8.RuneCountInString(s)+2)
		}
		lines = append(lines, strings.TrimRight(line, " "))
	}
	return lines, width[0]
}

// table writes the regions and below each its remedies.
func (n needReport) table(w io.Writer) {
	rows := [][]string{surveyHeads}
	for i := range n.Findings {
		rows = append(rows, n.Findings[i].row())
	}
	text, width := aligned(rows)
	for i, line := range text {
		fmt.Fprintln(w, line)
		if i == 0 {
			continue
		}
		for k, re := range n.Findings[i-1].Remedies {
			head := strings.Repeat(" ", width+2) + letter(k) + "  "
			fmt.Fprintln(w, head+wrapped(sentence(re.Text), len(head)))
		}
	}
}

// print writes the table and the summary that a person reads. It says so if
// cutters were asked for and there are none.
func (r *surveyReport) print(w io.Writer, noCutters bool) {
	line := lines{w}.tell
	lines{w}.part(r.Part, r.Warnings)
	if r.Need.Regions == 0 {
		line("need", "nothing: the part holds as it is in this pose")
	} else {
		line("need", "%s", r.Need.words())
		fmt.Fprintln(w)
		r.Need.table(w)
		fmt.Fprintln(w)
	}
	advice := false
	for _, n := range r.Notes {
		head, text := "note", sentence(n.Text)
		if n.Advice {
			head, advice = "advice", true
		}
		if n.AtMM != [3]float64{} {
			text = fmt.Sprintf("At x %.1f, y %.1f, z %.2f: %s", n.AtMM[0], n.AtMM[1], n.AtMM[2], text)
		}
		line(head, "%s", wrapped(text, 10))
	}
	if advice {
		line("caution", "%s", wrapped("Advice is a hint from the part's shape alone, no strength calculation. Where a failure could hurt "+
			"someone or damage property, ask a licensed engineer.", 10))
	}
	line("certified", "%s", wrapped(fmt.Sprintf("A slope of %.1f° from the vertical or more that rises %.3g mm is sure to be found; "+
		"a shorter one may hold by what a layer's edge has to spare.", r.CertifiedDeg, r.CertifiedRise), 10))
	if r.Need.Regions > 0 {
		fromPlate, cutters := 0.0, 0
		for _, f := range r.Need.Findings {
			fromPlate += f.FromPlateMM2
			for _, re := range f.Remedies {
				if re.CutterTriangles > 0 {
					cutters++
				}
			}
		}
		line("total", "%s mm² in %s; %s of it can be reached from the plate; %s", area(r.Need.AreaMM2),
			count(r.Need.Regions, "region", "regions"), share(fromPlate, r.Need.AreaMM2),
			count(cutters, "remedy has a solid to subtract", "remedies have a solid to subtract"))
	}
	if noCutters {
		line("cutters", "no cutters to write")
	}
	if len(r.Files) > 0 {
		line("files", "%s", strings.Join(r.Files, "  "))
	}
}
