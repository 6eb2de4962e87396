package main

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"math"
	"strings"

	"falsework/supports/cost"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// sheet is what the print sheet and the listing tell whoever prints the model, in
// sentences and rows, so that both say the same.
type sheet struct {
	Title, Part, Size                               string
	Designer, Licence, Description, Created, Change string

	Holds    bool
	Bare     bool
	Verdict  string
	Reasons  []string // why it fails
	Pictures []sheetPicture
	Before   []string // what to do before printing
	Settings [][2]string
	Heights  []gapRow
	Range    string // the heights in a sentence
	Bodies   []pieceRow
	More     int // bodies that are not listed
	Breaks   []breakRow
	Further  int // steps that are not listed
	After    []string
	Costs    []costRow
	Saved    string
	Cautions []string
}

type sheetPicture struct {
	File, Alt, Caption string
	Data               template.URL
	Width, Height      int
}

// gapRow is what the gap prints as at one layer height and first layer.
type gapRow struct{ Layer, First, Void, Says string }

// pieceRow is one piece of support that is taken away.
type pieceRow struct {
	No                          int
	Where, Stands, Touches, Off string
}

type costRow struct{ What, Time, Plastic string }

// mostBodies bounds the pieces that a sheet lists.
const mostBodies = 30

// sheetCautions are said of every print.
var sheetCautions = []string{
	"Mind the blade: cut away from yourself, and wear eye protection. Thin walls snap and fly.",
	"Keep the pieces from children and pets.",
	"Nothing here says what the part will carry: it is proved that layers hold while they are printed, and it is no strength calculation.",
	"A proof is no test print. Limits differ from printer to printer and from filament to filament.",
}

// newSheet gathers what is told of a baked part.
func newSheet(b *baking, voids []prove.Void, pictures []sheetPicture) *sheet {
	r := b.report()
	s := &sheet{
		Title: b.modelTitle(), Part: b.name, Size: times(r.Part.SizeMM) + " mm",
		Designer: b.o.publish.Designer, Licence: b.o.publish.Licence, Description: b.o.publish.Description,
		Created: b.o.publish.Created, Change: b.o.publish.Modified,
		Holds: !b.fails(), Bare: b.bare(), Reasons: r.Proof.Reasons, Pictures: pictures, Cautions: sheetCautions,
	}
	for _, note := range r.Proof.Unsteady {
		s.Cautions = append(s.Cautions[:len(s.Cautions):len(s.Cautions)], "Watch it while it prints: "+note+".")
	}
	set := b.settings
	switch {
	case b.fails():
		s.Verdict = "The proof fails. Parts of this would be laid in mid-air or could not come off: do not print or publish it as it is."
	case b.bare():
		s.Verdict = fmt.Sprintf("Proved: every layer of the part holds as it is, printed in layers of %g mm.", set.Layer)
	default:
		s.Verdict = fmt.Sprintf("Proved: every layer of part and supports holds, printed in layers of %g mm, and every support comes off again.", set.Layer)
		if len(b.proof.Bodies) == 0 {
			s.Verdict = fmt.Sprintf("Proved: every layer of the part and of what is printed onto it holds, printed in layers of %g mm.", set.Layer)
		}
	}
	keep := "Keep the pose: print the model the way up that it is in the file. Do not turn it or let a program lay it down anew."
	if b.o.turning.text != "" {
		keep += " Here it is " + b.o.turning.words() + "."
	}
	s.Before = []string{
		keep,
		"Switch automatic supports off. " + map[bool]string{true: "The part needs none.", false: "Those that are needed are in the model."}[b.bare()],
	}
	pieces, closed := len(b.proof.Bodies) > 0, len(b.proof.Sheets) > 0
	if !b.bare() {
		s.Before = append(s.Before, "Keep part and supports together where they lie: they are two bodies of one object.")
	}
	switch {
	case pieces && set.IsFused():
		s.Before = append(s.Before, "Look at the preview before you print: each support wall is one line; teeth one line square join it to the part across an empty layer.")
	case pieces:
		s.Before = append(s.Before, "Look at the preview before you print: each support wall is one line, and there is an empty layer or more between it and the part.")
	}
	if closed {
		s.Before = append(s.Before, "Look at the preview under the ceilings of the pockets too: the layers there run from wall to wall as bridges, printed onto the part.")
	}
	s.Settings = settingRows(b)
	if !b.bare() {
		s.Heights, s.Range = gapRows(voids, set.IsFused())
		s.Bodies, s.More = pieceRows(b.proof.Bodies, b.part.Bounds())
		s.Breaks, s.Further = breakRows(b.proof.Bodies)
		s.After = []string{"Let the print cool to the temperature of the room, and take it off the plate."}
		if pieces {
			s.After = append(s.After, "Break the supports away one at a time, those first that stand in the way of others, by hand or with flat pliers close to the part.")
		}
		if len(s.Breaks) > 0 {
			s.After = append(s.After, fmt.Sprintf("Take %s off piece by piece, in the order of the table of steps: hold the part, bend each piece at the place told with flat pliers until it snaps, and take it out the way told before you go on.", inPieces(s.Breaks)))
		}
		s.After = append(s.After, closingRows(b.proof.Sheets)...)
		if b.proof.PiercedMM2 == 0 {
			s.After = append(s.After, "Nothing is to be pierced or drilled: no support closes a hole of the part.")
		}
	} else {
		s.After = []string{"Let the print cool, and take it off the plate. There is nothing to break away, to pierce or to drill."}
	}
	s.Costs, s.Saved = costRows(r)
	return s
}

// settingRows tell what was proved, and what of it may differ.
func settingRows(b *baking) [][2]string {
	s := b.settings
	rows := [][2]string{
		{"Nozzle", fmt.Sprintf("%g mm", s.Nozzle)},
		{"Layers", fmt.Sprintf("%g mm, the first %g mm", s.Layer, s.First)},
	}
	line := fmt.Sprintf("%g mm", s.Line)
	if !b.bare() && s.Wall > s.Line {
		line += fmt.Sprintf("; up to %.3g mm the supports' walls still print as one line", s.Wall)
	}
	rows = append(rows, [2]string{"Line width", line},
		[2]string{"Overhangs", fmt.Sprintf("hold to %.3g° from the vertical", s.Limit*180/math.Pi)},
		[2]string{"Bridges", fmt.Sprintf("hold to %g mm, laid %s", s.Bridge, map[bool]string{true: "at " + s.Direction.String(), false: "in any direction"}[s.Direction.Stated])})
	if !b.bare() {
		gap := fmt.Sprintf("%g mm between supports and part", s.Gap)
		if s.IsFused() {
			gap = fmt.Sprintf("%g mm between supports and part, crossed by teeth one line square that are printed onto it", s.Void())
		}
		rows = append(rows, [2]string{"Gap", gap})
	}
	return rows
}

// gapRows tell what the gap prints as at other layer heights.
func gapRows(voids []prove.Void, fused bool) (rows []gapRow, summary string) {
	says := map[prove.Grade]string{prove.VoidGood: "good: carries, and comes apart", prove.VoidFused: "fuses to the part: do not use",
		prove.VoidFar: "too far: carries late or not at all", prove.VoidNone: "no support carries the part",
		prove.VoidGone: "a sheet or step is missing: do not use"}
	if fused {
		says[prove.VoidGood] = "good: printed onto the part"
	}
	var good []string
	alone := false
	for _, v := range voids {
		row := gapRow{fmt.Sprintf("%g mm", v.Layer), fmt.Sprintf("%g mm", v.First), "none", says[v.Grade]}
		if v.VoidMM[1] > 0 {
			if row.Void = fmt.Sprintf("%.3g mm", v.VoidMM[1]); v.VoidMM[0] != v.VoidMM[1] {
				row.Void = fmt.Sprintf("%.3g to %.3g mm", v.VoidMM[0], v.VoidMM[1])
			}
		}
		if sheetsAlone(&v) {
			alone, row.Says = true, "good: sheets and steps print"
		}
		if v.Own {
			row.Says += " (as proved)"
		}
		if v.Grade == prove.VoidGood || sheetsAlone(&v) {
			good = append(good, fmt.Sprintf("%g (first %g)", v.Layer, v.First))
		}
		rows = append(rows, row)
	}
	if len(good) == 0 {
		return rows, "The gap prints well at none of the layer heights that were tried."
	}
	if alone {
		return rows, "Sheets and steps print in one layer or more with layers of " + strings.Join(good, ", ") + " mm. That all layers hold is proved for the settings above alone."
	}
	return rows, "The gap prints well with layers of " + strings.Join(good, ", ") + " mm. That all layers hold is proved for the settings above alone."
}

// heading names an azimuth as seen from above with the front of the plate near the
// reader.
func heading(azimuth float64) string {
	names := [...]string{"to the right", "to the back right", "to the back", "to the back left", "to the left", "to the front left", "to the front", "to the front right"}
	return names[((int(math.Round(azimuth/45))%8)+8)%8]
}

// offWords say how a body comes off.
func offWords(b *prove.Body, part r3.Box) string {
	if len(b.Pieces) > 0 {
		return fmt.Sprintf("in %d pieces, step by step as told below", len(b.Pieces))
	}
	w := b.WayFrom(part)
	words := wayWords(w)
	switch {
	case words == "":
		return "no straight way out: break it into pieces"
	case w != "down" && w != "up":
		words = "slide it " + words
	}
	if b.BondMM2 > 0 && b.PullN > 0 {
		words += fmt.Sprintf("; it is printed onto the part over %.2g mm² and takes up to %.2g N to break off", b.BondMM2, b.PullN)
	}
	return words
}

func pieceRows(bodies []prove.Body, part r3.Box) (rows []pieceRow, more int) {
	for i := range bodies {
		if i == mostBodies {
			return rows, len(bodies) - i
		}
		b := &bodies[i]
		lo, hi := b.Bounds.Min, b.Bounds.Max
		stands := "on the plate"
		switch {
		case b.LandingMM2 > 0 && b.PlateMM2 > 0:
			stands = "on the plate and on the part"
		case b.LandingMM2 > 0:
			stands = fmt.Sprintf("on the part, over %.2g mm²", b.LandingMM2)
		}
		touches := "nowhere"
		if b.ContactMM2 > 0 {
			touches = fmt.Sprintf("%.3g mm² of the underside", b.ContactMM2)
		}
		rows = append(rows, pieceRow{b.ID,
			fmt.Sprintf("x %g to %g, y %g to %g, up to z %g mm", to(lo.X, 1), to(hi.X, 1), to(lo.Y, 1), to(hi.Y, 1), to(hi.Z, 1)), stands, touches, offWords(b, part)})
	}
	return rows, 0
}

func costRows(r *bakeReport) (rows []costRow, saved string) {
	row := func(what string, p printReport) {
		rows = append(rows, costRow{what, duration(p.TimeS), fmt.Sprintf("%.1f g", p.MassG)})
	}
	if r.Supports.Bodies == 0 && !r.Supports.closes() {
		row("the print", r.Print.Part)
		return rows, ""
	}
	row("the print with these supports", r.Print.Supports)
	if r.Ratio.Time == nil || r.Ratio.Plastic == nil {
		return rows, ""
	}
	row(fmt.Sprintf("with dense supports, a line every %g mm", cost.DefaultSpacing), r.Print.Dense)
	rows = append(rows,
		costRow{"of it these supports", duration(r.Supports.TimeS), fmt.Sprintf("%.1f g", r.Supports.MassG)},
		costRow{"of it dense ones", duration(r.Baseline.TimeS), fmt.Sprintf("%.1f g", r.Baseline.VolumeMM3/r.Supports.VolumeMM3*r.Supports.MassG)})
	return rows, fmt.Sprintf("Beside dense supports these take %.2f of the time and %.2f of the plastic. Times are those of the printer %q, for comparing.",
		*r.Ratio.Time, *r.Ratio.Plastic, r.Printer.Name)
}

//go:embed sheet.html
var sheetText string

var sheetTemplate = template.Must(template.New("sheet").Parse(sheetText))

// html returns the print sheet as one file without scripts or references.
func (s *sheet) html() ([]byte, error) {
	var b bytes.Buffer
	if err := sheetTemplate.Execute(&b, s); err != nil {
		return nil, fmt.Errorf("writing the print sheet: %w", err)
	}
	return b.Bytes(), nil
}

// embedded turns pictures into what a sheet holds.
func embedded(f file, width, height int, alt, caption string) sheetPicture {
	return sheetPicture{File: f.name, Alt: alt, Caption: caption, Width: width, Height: height,
		Data: template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(f.data))}
}

// plainly keeps a text from being taken for Markdown.
func plainly(s string) string {
	var b strings.Builder
	for _, r := range strings.Join(strings.Fields(s), " ") {
		if strings.ContainsRune("\\`*_{}[]<>#|~", r) {
			b.WriteByte('\\')
		}
		b.WriteRune(r)
	}
	return b.String()
}

// markdown returns the same for the page that the model is published on.
func (s *sheet) markdown() []byte {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	list := func(items []string) {
		for _, item := range items {
			line("- %s", item)
		}
		line("")
	}
	table := func(rows ...[]string) {
		for i, row := range rows {
			line("| %s |", strings.Join(row, " | "))
			if i == 0 {
				line("|%s", strings.Repeat("---|", len(row)))
			}
		}
		line("")
	}
	line("# %s\n", plainly(s.Title))
	for _, t := range []string{s.Description, strings.Join(s.credits(), ". ")} {
		if t != "" {
			line("%s\n", plainly(t))
		}
	}
	line("**%s**\n", s.Verdict)
	if !s.Holds {
		list(s.Reasons)
	}
	for _, p := range s.Pictures {
		line("![%s](%s)\n", plainly(p.Alt), strings.ReplaceAll(p.File, " ", "%20"))
	}
	line("## Before you print\n")
	list(s.Before)
	rows := [][]string{{"setting", "proved for"}}
	for _, r := range s.Settings {
		rows = append(rows, []string{r[0], r[1]})
	}
	table(rows...)
	if len(s.Heights) > 0 {
		line("%s\n", s.Range)
		rows = [][]string{{"layers", "first layer", "gap as printed", ""}}
		for _, h := range s.Heights {
			rows = append(rows, []string{h.Layer, h.First, h.Void, h.Says})
		}
		table(rows...)
	}
	line("## After printing\n")
	list(s.After)
	if len(s.Bodies) > 0 {
		rows = [][]string{{"support", "where", "stands", "touches", "comes off"}}
		for _, r := range s.Bodies {
			rows = append(rows, []string{fmt.Sprint(r.No), r.Where, r.Stands, r.Touches, r.Off})
		}
		table(rows...)
		if s.More > 0 {
			line("And %d more.\n", s.More)
		}
	}
	if len(s.Breaks) > 0 {
		line("### Supports that come off in pieces, step by step\n")
		rows = [][]string{{"support", "step", "first", "then"}}
		for _, r := range s.Breaks {
			rows = append(rows, []string{fmt.Sprint(r.No), fmt.Sprint(r.Step), r.Snap, r.Take})
		}
		table(rows...)
		if s.Further > 0 {
			line("And %d more.\n", s.Further)
		}
	}
	line("## Time and plastic\n")
	rows = [][]string{{"", "time", "plastic"}}
	for _, c := range s.Costs {
		rows = append(rows, []string{c.What, c.Time, c.Plastic})
	}
	table(rows...)
	if s.Saved != "" {
		line("%s\n", plainly(s.Saved))
	}
	line("## Cautions\n")
	for _, c := range s.Cautions {
		line("- %s", c)
	}
	return []byte(b.String())
}

// credits are what the designer says of the model, each a few words.
func (s *sheet) credits() (out []string) {
	for _, c := range [][2]string{{"Designed by ", s.Designer}, {"Licence: ", s.Licence}, {"Made on ", s.Created}, {"Changed on ", s.Change}} {
		if c[1] != "" {
			out = append(out, c[0]+c[1])
		}
	}
	return out
}

// Credits is credits as one line.
func (s *sheet) Credits() string { return strings.Join(s.credits(), " · ") }
