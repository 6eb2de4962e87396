package main

import (
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"falsework/supports"
	"falsework/supports/prove"
)

// mostRows bounds the rows of a table; the JSON has all.
const mostRows = 20

// proveReport is what prove prints with --json: the proof file, and what concerns
// this run alone. Its fields stay what they are; more may come.
type proveReport struct {
	proofDocument
	Seconds  proveSeconds `json:"seconds"`
	Files    []string     `json:"files"`
	Warnings []string     `json:"warnings"`
}

// proveSeconds is the time that each stage of a proof took.
type proveSeconds struct {
	Read  float64 `json:"read"`
	Prove float64 `json:"prove"`
	Voids float64 `json:"voids"`
	Write float64 `json:"write"`
}

func (v *proving) result() *proveReport {
	r := &proveReport{
		proofDocument: v.document(), Files: []string{}, Warnings: append([]string{}, v.warnings...),
		Seconds: proveSeconds{to(v.seconds.Read, 4), to(v.seconds.Prove, 4), to(v.seconds.Voids, 4), to(v.seconds.Write, 4)},
	}
	for _, f := range v.files {
		r.Files = append(r.Files, filepath.Join(v.o.out, f.name))
	}
	return r
}

// print writes the tables that a person reads.
func (r *proveReport) print(w io.Writer, part partReport, s supports.Settings) {
	line := lines{w}.tell
	lines{w}.part(part, r.Warnings)
	p := &r.Proof
	volume := 0.0
	for i := range p.Bodies {
		volume += p.Bodies[i].VolumeMM3
	}
	line("supports", "%s, %.0f mm³; %s mm² under the part, %s on the plate, %s standing on the part",
		count(len(p.Bodies), "body", "bodies"), volume, area(p.ContactMM2), area(p.PlateMM2), area(p.LandingMM2))
	if sheets, steps := sheetsOf(p.Sheets); sheets+steps > 0 {
		line("on part", "%s; %s", closedWords(sheets, steps, p.PiercedMM2), seatWords(shallower(p.Sheets)))
	}
	line("proof", "%s", shortProof(*p).words(s.Layer))
	line("", "of it %s mm² of the part, %s of supports; %s on marginal ledges; %s fused; %s too near a wall",
		area(p.PartUnheldMM2), area(p.SupportUnheldMM2), area(p.MarginalMM2), area(p.FusedMM2), area(p.ClearanceMM2))

	rows := [][]string{{"body", "x mm", "y mm", "z mm", "mm³", "under part mm²", "plate mm²", "on part mm²", "ways out"}}
	for i := range p.Bodies {
		rows = append(rows, bodyRow(&p.Bodies[i]))
	}
	table(w, rows, func(i int) string { return offLines(&p.Bodies[i]) })

	rows = [][]string{{"no", "reason", "structure", "z mm", "at x, y mm", "size"}}
	for i := range p.Reasons {
		rows = append(rows, reasonRow(i+1, &p.Reasons[i]))
	}
	table(w, rows, func(i int) string { return sentence(p.Reasons[i].Remedy) })

	rows = [][]string{{"layers mm", "first mm", "void", "printed mm", "0 layers", "1", "2", "3 or more", "at x, y, z mm"}}
	for i := range r.Voids {
		rows = append(rows, voidRow(&r.Voids[i]))
	}
	table(w, rows, nil)
	if len(r.Voids) > 0 {
		table(w, placeRows(r.Voids), nil)
	}
	fmt.Fprintln(w)

	for i := range p.Notes {
		if i == mostReasons-1 && len(p.Notes) > mostReasons {
			line("note", "%d more; --json lists all", len(p.Notes)-i)
			break
		}
		text := p.Notes[i].Text + " " + sentence(p.Notes[i].Remedy)
		if id := p.Notes[i].ID; id != "" {
			text = id + ": " + text
		}
		line("note", "%s", wrapped(text, 10))
	}
	line("voids", "%s", wrapped(voidWords(r.Voids), 10))
	if len(r.Files) > 0 {
		line("files", "%s", fileList(r.Files))
	}
	line("caution", "%s", caution)
}

// table writes rows under their heads after an empty line, none if there are only
// heads. Below row i stands what below(i) says, in a line or several.
func table(w io.Writer, rows [][]string, below func(i int) string) {
	all := len(rows) - 1
	if all == 0 {
		return
	}
	rows = rows[:min(all, mostRows)+1]
	fmt.Fprintln(w)
	text, first := aligned(rows)
	for i, t := range text {
		fmt.Fprintln(w, t)
		if i == 0 || below == nil {
			continue
		}
		indent := strings.Repeat(" ", first+2)
		for _, line := range strings.Split(below(i-1), "\n") {
			fmt.Fprintln(w, indent+wrapped(line, len(indent)))
		}
	}
	if left := all + 1 - len(rows); left > 0 {
		fmt.Fprintf(w, "and %d more; --json lists all\n", left)
	}
}

func bodyRow(b *prove.Body) []string {
	span := func(lo, hi float64) string { return fmt.Sprintf("%.1f to %.1f", lo, hi) }
	return []string{
		fmt.Sprint(b.ID), span(b.Bounds.Min.X, b.Bounds.Max.X), span(b.Bounds.Min.Y, b.Bounds.Max.Y), span(b.Bounds.Min.Z, b.Bounds.Max.Z),
		area(b.VolumeMM3), area(b.ContactMM2), area(b.PlateMM2), area(b.LandingMM2), waysOut(b.WaysOut),
	}
}

// mostFaces and mostTaken bound what is told of one body in the table.
const mostFaces, mostTaken = 3, 8

// offLines tell what a body marks, where a tool gets at it, and how it comes off in
// pieces, a line each.
func offLines(b *prove.Body) string {
	var out []string
	var marks []string
	for i, q := range b.Touches {
		if i == mostFaces {
			marks = append(marks, fmt.Sprintf("%d more", len(b.Touches)-i))
			break
		}
		how := "under"
		if q.Landing {
			how = "on"
		}
		marks = append(marks, fmt.Sprintf("%s mm² %s the face of %s mm² at x %.1f, y %.1f, z %.1f", area(q.AreaMM2), how, area(q.FaceMM2), q.At.X, q.At.Y, q.At.Z))
	}
	if marks != nil {
		out = append(out, "marks "+strings.Join(marks, "; "))
	}
	if q := b.Room; q != nil {
		from := "from " + string(q.From)
		if q.From == "down" {
			from = "from below"
		}
		out = append(out, fmt.Sprintf("room for a %s %s at x %.1f, y %.1f, z %.1f", strings.Replace(string(q.Tool), "pliers", "pair of pliers", 1), from, q.At.X, q.At.Y, q.At.Z))
	} else {
		out = append(out, "no room for pliers or a blade")
	}
	for i, q := range b.Pieces {
		if i == mostTaken {
			out = append(out, fmt.Sprintf("%d more pieces", len(b.Pieces)-i))
			break
		}
		var necks []string
		for _, n := range q.Necks {
			necks = append(necks, fmt.Sprintf("x %.1f, y %.1f, z %.1f (%.2g N)", n.At.X, n.At.Y, n.At.Z, n.ForceN))
		}
		step := fmt.Sprintf("piece %d: ", i+1)
		if necks != nil {
			step += "break it off at " + strings.Join(necks, "; ") + ", then take "
		} else {
			step += "take "
		}
		lo, hi := q.Bounds.Min, q.Bounds.Max
		out = append(out, step+fmt.Sprintf("x %.1f to %.1f, y %.1f to %.1f, z %.1f to %.1f out: %s", lo.X, hi.X, lo.Y, hi.Y, lo.Z, hi.Z, q.Way))
	}
	return strings.Join(out, "\n")
}

// mostWays bounds the sideways ways out that are named one by one.
const mostWays = 2

// waysOut lists ways out, those along the ground by their number if they are many.
func waysOut(ways []prove.Way) string {
	var words, flat []string
	for _, w := range ways {
		if strings.HasSuffix(string(w), "°") {
			flat = append(flat, string(w))
		} else {
			words = append(words, string(w))
		}
	}
	if len(flat) > mostWays {
		flat = []string{fmt.Sprintf("%d sideways", len(flat))}
	}
	if words = append(words, flat...); len(words) == 0 {
		return "none"
	}
	return strings.Join(words, ", ")
}

func reasonRow(no int, why *prove.Reason) []string {
	kind := string(why.Kind)
	if why.Body > 0 {
		kind += fmt.Sprintf(", body %d", why.Body)
	}
	size := amountOf(why)
	if size == "" {
		size = "–"
	}
	id := why.ID
	if id == "" {
		id = "–"
	}
	return []string{fmt.Sprint(no), kind, id, fmt.Sprintf("%.2f", why.LayerZ), fmt.Sprintf("%.1f, %.1f", why.At.X, why.At.Y), size}
}

// amountOf returns the size of what is wrong, empty where it has none.
func amountOf(why *prove.Reason) string {
	switch {
	case why.AreaMM2 > 0:
		return area(why.AreaMM2) + " mm²"
	case why.VolumeMM3 > 0:
		return area(why.VolumeMM3) + " mm³"
	}
	return ""
}

// kindAndSize names a reason in a picture.
func kindAndSize(why *prove.Reason) string {
	return strings.TrimSpace(string(why.Kind) + " " + amountOf(why))
}

func voidRow(v *prove.Void) []string {
	layers, printed, at := fmt.Sprintf("%g", v.Layer), "–", ""
	switch {
	case v.Own:
		layers += " (own)"
	case v.Binds:
		layers += " (declared)"
	}
	if v.Grade != prove.VoidNone {
		printed = fmt.Sprintf("%.3g to %.3g", v.VoidMM[0], v.VoidMM[1])
	}
	if v.At != nil {
		at = fmt.Sprintf("%.1f, %.1f, %.2f", v.At[0], v.At[1], v.At[2])
	}
	row := []string{layers, fmt.Sprintf("%g", v.First), string(v.Grade), printed}
	for n, a := range v.AreaMM2 {
		row = append(row, area(a+v.LandingMM2[n]))
	}
	return append(row, at)
}

// placeRows tell the empty layers at every contact, a column for each layer height and
// first layer.
func placeRows(voids []prove.Void) [][]string {
	head := []string{"contact", "x, y, z mm", "mm²"}
	for i := range voids {
		head = append(head, fmt.Sprintf("%g/%g", voids[i].Layer, voids[i].First))
	}
	rows := [][]string{head}
	for n := range voids[0].Places {
		q := &voids[0].Places[n]
		what := "under"
		if q.Landing {
			what = "on"
		}
		row := []string{fmt.Sprintf("%d %s", n+1, what), fmt.Sprintf("%.1f, %.1f, %.2f", q.At[0], q.At[1], q.At[2]), area(q.AreaMM2)}
		for i := range voids {
			q := &voids[i].Places[n]
			text := fmt.Sprint(q.Layers[0])
			switch {
			case q.Layers[0] < 0:
				text = "–"
			case q.Layers[1] > q.Layers[0]:
				text = fmt.Sprintf("%d to %d", q.Layers[0], q.Layers[1])
			}
			row = append(row, text)
		}
		rows = append(rows, row)
	}
	return rows
}

// voidWords sums up for whom the supports would not do.
func voidWords(voids []prove.Void) string {
	var wrong []string
	contact := false
	for _, v := range voids {
		contact = contact || v.Grade != prove.VoidNone
		contact = contact || sheetsAlone(&v)
		if v.Grade == prove.VoidFused || v.Grade == prove.VoidFar || v.Grade == prove.VoidGone {
			wrong = append(wrong, fmt.Sprintf("%g mm (first %g): %s", v.Layer, v.First, v.Grade))
		}
	}
	switch {
	case !contact:
		return "No support carries the part or stands on it at your own layers, so there is nothing to count."
	case len(wrong) == 0:
		return "Good at every layer height of the table."
	}
	return "Say on the page which layers it was made for. Not good at layers of " + strings.Join(wrong, "; ") + "."
}
