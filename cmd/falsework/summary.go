package main

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"falsework/mesh"
)

// shortCaution goes on pictures, beside more that is to be said.
const shortCaution = "Let it cool before breaking supports away. This is no strength calculation."

// caution goes with every result that someone will print.
const caution = "Let the print cool before you break supports away, mind the blade and wear eye protection. " +
	"This says that layers hold while printing; it is no strength calculation."

// bakeReport is what bake prints with --json. Its fields stay what they are;
// more may come.
type bakeReport struct {
	Part     partReport     `json:"part"`
	Pose     *turnReport    `json:"pose,omitempty"` // where --pose was given
	Need     needReport     `json:"need"`
	Supports supportsReport `json:"supports"`
	Baseline baselineReport `json:"baseline"`
	Ratio    ratioReport    `json:"ratio"`
	Print    wholeReport    `json:"print"`
	Printer  machineReport  `json:"printer"`
	Proof    proofReport    `json:"proof"`
	Files    []string       `json:"files"`
	Seconds  stageSeconds   `json:"seconds"`
	Warnings []string       `json:"warnings"`
}

type partReport struct {
	Name      string     `json:"name"`
	Triangles int        `json:"triangles"`
	SizeMM    [3]float64 `json:"size_mm"`
	VolumeMM3 float64    `json:"volume_mm3"`
}

func partOf(name string, m *mesh.Mesh) partReport {
	p := partReport{Name: name, Triangles: len(m.Triangles), SizeMM: sizeOf(m), VolumeMM3: to(m.Volume(), 3)}
	for i := range p.SizeMM {
		p.SizeMM[i] = to(p.SizeMM[i], 4)
	}
	return p
}

// needReport is what does not hold of the bare part: area in plan view, summed
// over the layers where it first appears.
type needReport struct {
	AreaMM2  float64         `json:"area_mm2"`
	Regions  int             `json:"regions"`
	Findings []findingReport `json:"findings"` // in order of their ids
}

type supportsReport struct {
	Bodies     int     `json:"bodies"` // as printed: pieces that do not touch
	VolumeMM3  float64 `json:"volume_mm3"`
	TimeS      float64 `json:"time_s"`
	ContactMM2 float64 `json:"contact_mm2"`       // under the part, in plan view
	ContactMM  float64 `json:"contact_length_mm"` // of lines under level ceilings
	BoundMM    float64 `json:"contact_bound_mm"`  // that no plan can do with less than
	PlateMM2   float64 `json:"plate_mm2"`
	MassG      float64 `json:"mass_g"`
	Lines      int     `json:"lines"`
	Posts      int     `json:"posts"`
	Sheets     int     `json:"sheets"`      // printed onto the part across openings
	Steps      int     `json:"steps"`       // pockets with bridging steps, which stay
	PiercedMM2 float64 `json:"pierced_mm2"` // of sheets, after printing
	// What sheets and steps take off the depth of pockets, least and most.
	ShallowerMM [2]float64 `json:"shallower_mm"`

	FilamentMM float64  `json:"filament_mm"`
	Price      *float64 `json:"price"`
}

// closes tells whether there are sheets or steps.
func (s supportsReport) closes() bool { return s.Sheets+s.Steps > 0 }

// wholeReport is what the whole print takes: the part alone, with these supports and
// with dense ones, and the second over the third.
type wholeReport struct {
	Part     printReport `json:"part"`
	Supports printReport `json:"with_supports"`
	Dense    printReport `json:"with_dense"`
	Ratio    ratioReport `json:"ratio"`
}

type baselineReport struct {
	VolumeMM3 float64 `json:"volume_mm3"`
	TimeS     float64 `json:"time_s"`
	SpacingMM float64 `json:"spacing_mm"`
}

// ratioReport sets supports over the baseline; null where there is no baseline.
type ratioReport struct {
	Plastic *float64 `json:"plastic"`
	Time    *float64 `json:"time"`
}

// stageSeconds is the time that each stage of a run took.
type stageSeconds struct {
	Read   float64 `json:"read"`
	Pose   float64 `json:"pose"`
	Cut    float64 `json:"cut"`
	Survey float64 `json:"survey"`
	Layout float64 `json:"layout"`
	Grow   float64 `json:"grow"`
	Prove  float64 `json:"prove"`
	Cost   float64 `json:"cost"`
	Write  float64 `json:"write"`
}

// to rounds v to so many decimals.
func to(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}

// mostReasons and mostWarnings bound the lines of the summary.
const mostReasons, mostWarnings = 4, 3

// lines writes a summary: a head and what there is to say of it, a line each.
type lines struct{ w io.Writer }

func (l lines) tell(head, format string, args ...any) {
	fmt.Fprintf(l.w, "%-10s%s\n", head, fmt.Sprintf(format, args...))
}

func (l lines) part(p partReport, warnings []string) {
	l.tell("part", "%s: %s mm, %.0f mm³, %d triangles", p.Name, times(p.SizeMM), p.VolumeMM3, p.Triangles)
	for i, warning := range warnings {
		if i == mostWarnings-1 && len(warnings) > mostWarnings {
			l.tell("warning", "%d more of this kind; --json lists all", len(warnings)-i)
			break
		}
		l.tell("warning", "%s", warning)
	}
}

// tellJSON prints a result as one object, and its warnings on standard error too.
func tellJSON(io streams, result any, warnings []string) error {
	enc := json.NewEncoder(io.out)
	enc.SetIndent("", "  ")
	if err := enc.Encode(result); err != nil {
		return fmt.Errorf("printing the result: %w", err)
	}
	for _, w := range warnings {
		fmt.Fprintf(io.err, "warning: %s\n", w)
	}
	return nil
}

// print writes the summary that a person reads.
func (r *bakeReport) print(w io.Writer, layerMM float64) {
	line := lines{w}.tell
	lines{w}.part(r.Part, r.Warnings)
	if p := r.Pose; p != nil {
		line("pose", "%s", p.words())
	}
	if r.Need.Regions == 0 {
		line("need", "nothing: the part holds as it is in this pose")
	} else {
		line("need", "%s", r.Need.words())
	}
	if r.Supports.Bodies > 0 {
		level := ""
		if r.Supports.BoundMM > 0 {
			level = fmt.Sprintf("; under level ceilings %.0f mm of contact, no plan less than %.0f", r.Supports.ContactMM, r.Supports.BoundMM)
		}
		line("supports", "%s of %s on %s; %.0f mm² on the plate, %.0f mm² under the part%s",
			count(r.Supports.Bodies, "body", "bodies"), count(r.Supports.Lines, "contact line", "contact lines"),
			count(r.Supports.Posts, "post or sole", "posts and soles"), r.Supports.PlateMM2, r.Supports.ContactMM2, level)
	} else if r.Need.Regions > 0 && !r.Supports.closes() {
		line("supports", "none")
	}
	if s := r.Supports; s.closes() {
		line("on part", "%s; %s", closedWords(s.Sheets, s.Steps, s.PiercedMM2), seatWords(s.ShallowerMM))
	}
	if r.Supports.Bodies > 0 || r.Supports.closes() {
		line("cost", "%s and %.1f g%s", duration(r.Supports.TimeS), r.Supports.MassG, r.beside())
	}
	line("print", "%s", r.Print.words())
	line("proof", "%s", r.Proof.words(layerMM))
	for i, reason := range r.Proof.Reasons {
		if i == mostReasons-1 && len(r.Proof.Reasons) > mostReasons {
			line("", "– and %d more; the proof file lists all", len(r.Proof.Reasons)-i)
			break
		}
		line("", "– %s", reason)
	}
	for i, step := range r.Proof.BreakOrder {
		if i == mostReasons-1 && len(r.Proof.BreakOrder) > mostReasons {
			line("", "and %d more steps; the print sheet lists them", len(r.Proof.BreakOrder)-i)
			break
		}
		line("off", "%s", step)
	}
	for i, note := range r.Proof.Unsteady {
		if i == mostReasons-1 && len(r.Proof.Unsteady) > mostReasons {
			line("", "and %d more; the proof file lists all", len(r.Proof.Unsteady)-i)
			break
		}
		line("unsteady", "%s", note)
	}
	line("files", "%s", fileList(r.Files))
	line("caution", "%s", caution)
}

// beside words the comparison with the baseline.
func (r *bakeReport) beside() string {
	if r.Ratio.Time == nil || r.Ratio.Plastic == nil {
		return "; no dense supports to compare with"
	}
	return fmt.Sprintf("; dense supports take %s: ratio %.2f in time, %.2f in plastic",
		duration(r.Baseline.TimeS), *r.Ratio.Time, *r.Ratio.Plastic)
}

// words sums the whole print up in a line.
func (p wholeReport) words() string {
	s := fmt.Sprintf("%s, %.1f g and %.1f m of filament in all", duration(p.Supports.TimeS), p.Supports.MassG, p.Supports.FilamentMM/1000)
	if p.Supports.Price != nil {
		s += fmt.Sprintf(", price %.2f", *p.Supports.Price)
	}
	if p.Ratio.Time != nil {
		s += fmt.Sprintf("; with dense supports %s, %.1f g", duration(p.Dense.TimeS), p.Dense.MassG)
	}
	return s
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// duration writes seconds as a person says them.
func duration(s float64) string {
	switch d := time.Duration(s * float64(time.Second)).Round(time.Second); {
	case d < 2*time.Minute:
		return fmt.Sprintf("%.0f s", d.Seconds())
	case d < 2*time.Hour:
		return fmt.Sprintf("%.0f min", d.Minutes())
	default:
		return fmt.Sprintf("%.0f h %.0f min", math.Floor(d.Hours()), math.Mod(d.Minutes(), 60))
	}
}

// fileList names files of one folder with the folder said once.
func fileList(files []string) string {
	var names []string
	dir := ""
	for _, f := range files {
		i := strings.LastIndexAny(f, `/\`)
		dir = f[:i+1]
		names = append(names, f[i+1:])
	}
	return dir + "  " + strings.Join(names, "  ")
}
