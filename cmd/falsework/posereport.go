package main

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"falsework/raster/view"
	"falsework/supports/pose"
)

// poseReport is what pose prints with --json. Its fields stay what they are; more
// may come.
type poseReport struct {
	Part     partReport         `json:"part"`
	Weights  map[string]float64 `json:"weights"`
	CellMM   float64            `json:"cell_mm"` // edge of the raster cells that supports were drawn on
	Poses    []poseRow          `json:"poses"`   // the best first
	Files    []string           `json:"files"`
	Seconds  poseSeconds        `json:"seconds"`
	Warnings []string           `json:"warnings"`
}

type poseRow struct {
	Number        int        `json:"number"`
	Kind          pose.Kind  `json:"kind"`
	TurnDeg       [3]float64 `json:"turn_deg"` // about X, then Y, then Z
	Up            [3]float64 `json:"up"`       // direction of the given part that is up then
	Twins         int        `json:"twins"`
	Points        float64    `json:"points"`
	Front         bool       `json:"front"`
	BeatenBy      int        `json:"beaten_by"`
	Holds         bool       `json:"holds"`
	Fault         string     `json:"fault,omitempty"`   // the worst of why it does not
	Undrawn       bool       `json:"undrawn,omitempty"` // no supports could be built: their numbers are 0
	TimeS         float64    `json:"time_s"`
	VolumeMM3     float64    `json:"volume_mm3"`
	MassG         float64    `json:"mass_g"`
	ContactMM2    float64    `json:"contact_mm2"`
	NeedMM2       float64    `json:"need_mm2"`
	HeightMM      float64    `json:"height_mm"`
	FirstLayerMM2 float64    `json:"first_layer_mm2"`
	TippingDeg    float64    `json:"tipping_deg"`
	Layers        float64    `json:"layers"`
	CleanMM2      float64    `json:"clean_mm2"`
	Sums          sumsReport `json:"sums"`
	Wins          []gain     `json:"wins"`
	Loses         []gain     `json:"loses"`

	words string
}

// sumsReport is what sums of triangles let expect of a pose.
type sumsReport struct {
	NeedMM2 float64 `json:"need_mm2"`
	RiseMM3 float64 `json:"rise_mm3"`
}

// gain is what a pose wins or loses beside the given one, in the unit of its
// criterion: s, mm³, mm², mm, none, degrees, none, mm².
type gain struct {
	Criterion string  `json:"criterion"`
	By        float64 `json:"by"`
}

// poseSeconds is the time that each stage of a run took.
type poseSeconds struct {
	Read  float64 `json:"read"`
	Rank  float64 `json:"rank"`
	Write float64 `json:"write"`
}

// kindWords say what a pose is.
var kindWords = map[pose.Kind]string{
	pose.Given: "as given", pose.Resting: "on a flat side", pose.Level: "a flat lies level", pose.Free: "free",
}

func (v *posing) report() *poseReport {
	r := &poseReport{
		Part: partOf(v.name, v.part), Weights: map[string]float64{}, CellMM: pose.CellFor(v.poses, v.settings), Files: []string{}, Warnings: append([]string{}, v.warnings...),
		Seconds: poseSeconds{to(v.seconds.Read, 4), to(v.seconds.Rank, 4), to(v.seconds.Write, 4)},
	}
	for c := range pose.Criteria {
		r.Weights[c.String()] = v.wishes.Weights[c]
	}
	r.Poses = v.rows()
	for _, f := range v.files {
		r.Files = append(r.Files, filepath.Join(v.o.out, f.name))
	}
	return r
}

// rows lists the poses.
func (v *posing) rows() []poseRow {
	var out []poseRow
	given := v.givenPose()
	for i := range v.poses {
		p := &v.poses[i]
		up := p.Turn.Up()
		row := poseRow{
			Number: i + 1, Kind: p.Kind, TurnDeg: turnOf(p.Turn), Up: [3]float64{to(up.X, 6), to(up.Y, 6), to(up.Z, 6)}, Twins: p.Twins,
			Points: to(p.Points, 3), Front: p.Front, BeatenBy: p.BeatenBy, Holds: p.Laid.Holds, Fault: strings.TrimSuffix(p.Laid.Fault, "."), Undrawn: p.Laid.Problem != "",
			TimeS: to(p.Laid.Supports.TimeS, 2), VolumeMM3: to(p.Laid.Supports.VolumeMM3, 3), MassG: to(p.Laid.Supports.MassG, 3),
			ContactMM2: to(p.Laid.ContactMM2, 3), NeedMM2: to(p.Laid.NeedMM2, 3), HeightMM: to(p.Sums.HeightMM, 4),
			FirstLayerMM2: to(p.Laid.FootMM2, 3), TippingDeg: degreesOf(p.Sums.Tipping), Layers: to(p.Sums.Layers, 4),
			CleanMM2: to(p.Laid.CleanMM2, 3), Sums: sumsReport{to(p.Sums.NeedMM2, 3), to(p.Sums.RiseMM3, 3)},
			Wins: []gain{}, Loses: []gain{},
		}
		list := func(criteria []pose.Criterion, to *[]gain) string {
			var words []string
			for _, c := range criteria {
				by := math.Abs(p.Measures[c] - given.Measures[c])
				*to = append(*to, gain{c.String(), inUnit(c, by)})
				words = append(words, difference(c, p.Measures[c], given.Measures[c]))
			}
			return strings.Join(words, ", ")
		}
		wins, loses := list(p.Wins, &row.Wins), list(p.Loses, &row.Loses)
		switch {
		case p.Kind == pose.Given:
			row.words = "as given"
		case row.Undrawn:
			row.words = "no supports could be built"
		case wins == "" && loses == "":
			row.words = "as good as the given one"
		case loses == "":
			row.words = "wins " + wins
		case wins == "":
			row.words = "loses " + loses
		default:
			row.words = "wins " + wins + "; loses " + loses
		}
		out = append(out, row)
	}
	return out
}

func (v *posing) givenPose() *pose.Pose {
	for i := range v.poses {
		if v.poses[i].Kind == pose.Given {
			return &v.poses[i]
		}
	}
	return &v.poses[0] // there always is one
}

// inUnit rounds a difference in the unit that JSON has it in.
func inUnit(c pose.Criterion, by float64) float64 {
	if c == pose.Tipping {
		return degreesOf(by)
	}
	return to(by, 3)
}

// difference says in words how a value differs from that of the given pose.
func difference(c pose.Criterion, is, was float64) string {
	more := "more"
	if is < was {
		more = "less"
	}
	by := math.Abs(is - was)
	switch c {
	case pose.Time:
		return fmt.Sprintf("%s of supports %s", duration(by), more)
	case pose.Plastic:
		return fmt.Sprintf("%.0f mm³ of plastic %s", by, more)
	case pose.Contact:
		return fmt.Sprintf("%.0f mm² of contact %s", by, more)
	case pose.Height:
		return fmt.Sprintf("%.1f mm of height %s", by, more)
	case pose.Slender:
		if is < was {
			return "broader foot"
		}
		return "narrower foot"
	case pose.Tipping:
		if is > was {
			return "stands more firmly"
		}
		return "tips sooner"
	case pose.Layers:
		if is < was {
			return "stronger along the load"
		}
		return "weaker along the load"
	}
	return fmt.Sprintf("%.0f mm² of clean faces %s", by, more)
}

// tell prints the result.
func (v *posing) tell(io streams) error {
	r := v.report()
	if v.o.json {
		return tellJSON(io, r, r.Warnings)
	}
	v.print(io.out, r)
	return nil
}

// shown returns the rows that are told: the first ones, and the given pose.
func (r *poseReport) shown(rows int) []*poseRow {
	var out []*poseRow
	for i := range r.Poses {
		if p := &r.Poses[i]; i < rows || p.Kind == pose.Given {
			out = append(out, p)
		}
	}
	return out
}

// print writes the table that a person reads.
func (v *posing) print(w io.Writer, r *poseReport) {
	line := lines{w}.tell
	lines{w}.part(r.Part, r.Warnings)
	line("weights", "%v", v.wishes.Weights)
	line("drawn", "once in each pose, on cells of %.2g mm; bake draws finer, and more, and takes the best", r.CellMM)
	fmt.Fprintln(w)
	loads, clean := len(v.wishes.Loads) > 0, len(v.wishes.Clean)+len(v.wishes.CleanShares) > 0
	heads := []string{"pose", "turn", "points", "supports", "g", "contact", "height", "foot", "tips at"}
	if loads {
		heads = append(heads, "layers")
	}
	if clean {
		heads = append(heads, "clean")
	}
	table := [][]string{append(heads, "proof", "front")}
	shown := r.shown(v.o.rows)
	for _, p := range shown {
		row := []string{p.head(), pose.Turn{XDeg: p.TurnDeg[0], YDeg: p.TurnDeg[1], ZDeg: p.TurnDeg[2]}.String(), fmt.Sprintf("%.2f", p.Points),
			p.time(), fmt.Sprintf("%.2f", p.MassG), fmt.Sprintf("%.0f", p.ContactMM2), fmt.Sprintf("%.1f", p.HeightMM),
			fmt.Sprintf("%.0f", p.FirstLayerMM2), fmt.Sprintf("%.0f°", p.TippingDeg)}
		if loads {
			row = append(row, fmt.Sprintf("%.2f", p.Layers))
		}
		if clean {
			row = append(row, fmt.Sprintf("%.0f", p.CleanMM2))
		}
		proof, front := "holds", "yes"
		if !p.Holds {
			proof = "fails"
		}
		if !p.Front {
			front = fmt.Sprintf("no: %d", p.BeatenBy)
		}
		table = append(table, append(row, proof, front))
	}
	columns(w, table)
	for _, p := range shown {
		line(fmt.Sprintf("pose %d", p.Number), "%s", p.why())
	}
	if n := len(r.Poses) - len(shown); n > 0 {
		line("", "%s not shown; --rows and --json have them", count(n, "more pose is", "more poses are"))
	}
	line("next", "falsework bake %s --pose %s --out DIR", v.o.part, pose.Turn{XDeg: r.Poses[0].TurnDeg[0], YDeg: r.Poses[0].TurnDeg[1], ZDeg: r.Poses[0].TurnDeg[2]})
	if loads {
		line("caution", "layers across a load rank poses; this is no strength calculation")
	}
	if len(r.Files) > 0 {
		line("files", "%s", fileList(r.Files))
	}
}

func (p *poseRow) head() string {
	if p.Kind == pose.Given {
		return fmt.Sprintf("%d given", p.Number)
	}
	return fmt.Sprint(p.Number)
}

func (p *poseRow) time() string {
	switch {
	case p.Undrawn:
		return "undrawn"
	case p.TimeS == 0:
		return "none"
	}
	return duration(p.TimeS)
}

// why says what a pose is and what it wins and loses.
func (p *poseRow) why() string {
	s := p.words
	if p.Kind != pose.Given {
		s = kindWords[p.Kind] + ": " + s
	}
	if p.Twins > 0 {
		s += fmt.Sprintf("; %s alike by symmetry", count(p.Twins, "other pose is", "other poses are"))
	}
	if p.Fault != "" {
		if !p.Undrawn {
			s += "; the proof fails"
		}
		s += ": " + p.Fault
	}
	return s
}

// mostFrames bounds the figures of the picture, sheetColumns those of a row.
const mostFrames, sheetColumns = 6, 3

// draw makes the picture of the best poses with their supports, the given one among
// them.
func (v *posing) draw() error {
	if v.o.out == "" || v.o.pictures.none {
		return nil
	}
	r := v.report()
	rows := r.shown(mostFrames)
	if len(rows) > mostFrames {
		rows = append(rows[:mostFrames-1], rows[len(rows)-1])
	}
	var frames []view.Frame
	for _, row := range rows {
		p := &v.poses[row.Number-1]
		s := view.Scene{Items: []view.Item{
			{Mesh: p.Turn.Place(v.part), Role: view.Part, Name: "part"},
			{Mesh: p.Laid.Mesh, Role: view.Support, Name: "supports"},
		}}
		supports := "no supports"
		switch {
		case row.Undrawn:
			supports = "no supports could be built"
		case row.TimeS > 0:
			supports = fmt.Sprintf("supports %s, %.2f g, contact %.0f mm²", duration(row.TimeS), row.MassG, row.ContactMM2)
		}
		if !row.Holds {
			supports += "; proof fails"
		}
		s.Notes = []string{supports, fmt.Sprintf("height %.1f mm, first layer %.0f mm², tips at %.0f°", row.HeightMM, row.FirstLayerMM2, row.TippingDeg)}
		switch {
		case row.Undrawn:
		case row.Front:
			s.Notes = append(s.Notes, "on the front")
		default:
			s.Notes = append(s.Notes, fmt.Sprintf("pose %d is as good in everything and better in something", row.BeatenBy))
		}
		heading := "turned by " + p.Turn.String()
		if p.Kind == pose.Given {
			heading = "as given"
		}
		frames = append(frames, view.Frame{Scene: s, Camera: view.Facing(s, view.ThreeQuarter()), Number: fmt.Sprint(row.Number),
			Heading: fmt.Sprintf("%s: %.2f points", heading, row.Points), Marked: p.Kind == pose.Given})
	}
	head := view.Scene{Title: v.name + ": poses", Subtitle: fmt.Sprintf("the best of %d that were laid out; heavy border: as given", len(v.poses)),
		LayerHeight: v.settings.Layer, Verdict: "pose 1 comes first",
		Notes: []string{"Turned by degrees about X, then Y, then Z.", "Weights: " + strings.ReplaceAll(v.wishes.Weights.String(), ",", ", ")}}
	var b bytes.Buffer
	width := v.o.pictures.width
	o := view.Options{Width: width, Height: width * 3 / 4, GhostPart: true}
	if err := view.WriteContactSheet(&b, head, times(sizeOf(v.part))+" mm as given", frames, min(sheetColumns, len(frames)), o); err != nil {
		return fmt.Errorf("drawing %s: %w", posesPicture(v.name), err)
	}
	v.files = []file{{posesPicture(v.name), b.Bytes()}}
	return nil
}
