package plan

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

const header = `# Falsework plan: what holds the part up while it prints. Lengths are mm, +Z is
# up, the plate is z = 0. Edit it in any text editor:
#
#   move     change the numbers of "at". A post that stood at [14, 26] stands 5 mm
#            further along x with at: [19, 26]; the walls to it follow by themselves
#   resize   a post's "side"; "head" is the height at which its walls begin to
#            spread, at most; "foot" is 0 on the plate
#   delete   take the entry out; it goes to "struck" and is not drawn again
#   add      write an entry with an id of your own
#   pin      put "by: designer" where "by: tool" stands: it is then never changed
#
# "falsework layout PART --plan THIS" keeps all that is yours and your comments and
# draws the rest anew around it. "falsework bake PART --plan THIS" builds exactly
# what stands here.
#
# lines  contact lines under the part, each point x, y and the height of the
#        underside there; a wall stands below; a tie only joins walls; "round" is the
#        radius that it turns corners by; "relieved" counts those of its straights that
#        only carry: the wall ends below the part there
# posts  where walls gather and go down; a post without a side is a sole, a stretch
#        of wall on the ground, within "reach" or under a whole line, whose foot on
#        the plate is wider by "toe" to either side
# sheets one layer across the opening under a ceiling, printed onto the part and
#        pierced after printing: at [x, y, z] in it, z being the ceiling's
# steps  layers under a pocket's ceiling that a smaller hole in it stands on, printed
#        onto the part: at [x, y, z] on the hole's axis, its "bore" (diameter), and
#        the direction of the lowest bridges in degrees from +X
# zones  kind: keep-clean, must-hold or no-go, and one of
#          box: {min: [x, y, z], max: [x, y, z]}
#          cylinder: {from: [x, y, z], to: [x, y, z], radius: r}
#          face: {at: [x, y, z], normal: [x, y, z]}
`

// memory goes over the part of the document that is not for editing.
const memory = `# What the program drew last: by this it tells your changes. Leave it as it is.
`

// field is one line of a mapping: a key and a value in flow style.
type field struct{ key, value string }

// number writes v the shortest way that reads back the same.
func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

func vector(v ...float64) string {
	words := make([]string, len(v))
	for i := range v {
		words[i] = number(v[i])
	}
	return "[" + strings.Join(words, ", ") + "]"
}

func counts(n []int) string {
	words := make([]string, len(n))
	for i := range n {
		words[i] = strconv.Itoa(n[i])
	}
	return "[" + strings.Join(words, ", ") + "]"
}

var plainWord = regexp.MustCompile(`^[A-Za-z]([A-Za-z0-9_. -]*[A-Za-z0-9_])?$`)

// reserved are words that YAML 1.1 or 1.2 takes for something else than text.
var reserved = []string{"true", "false", "yes", "no", "on", "off", "null", "y", "n"}

// word writes text so that it reads back as text.
func word(s string) string {
	if plainWord.MatchString(s) && !slices.Contains(reserved, strings.ToLower(s)) {
		return s
	}
	return strconv.Quote(strings.ToValidUTF8(s, "\uFFFD"))
}

func words(list []string) string {
	out := make([]string, len(list))
	for i := range list {
		out[i] = word(list[i])
	}
	return "[" + strings.Join(out, ", ") + "]"
}

// fields drops those without a value.
func fields(list ...field) []field {
	return slices.DeleteFunc(list, func(f field) bool { return f.value == "" })
}

// some returns the text of v, nothing for 0.
func some(v float64) string {
	if v == 0 {
		return ""
	}
	return number(v)
}

func (p Part) fields() []field {
	return fields(field{"name", word(p.Name)}, field{"triangles", strconv.Itoa(p.Triangles)}, field{"size_mm", vector(p.Size[:]...)})
}

func (d Settings) fields() []field {
	n := func(key string, v float64) field { return field{key, number(v)} }
	dir := d.Direction
	if _, err := strconv.ParseFloat(dir, 64); err != nil {
		dir = word(dir)
	}
	return fields(
		n("nozzle_mm", d.Nozzle), n("line_mm", d.Line), n("layer_mm", d.Layer), n("first_layer_mm", d.First),
		n("limit_deg", d.Limit), n("bridge_mm", d.Bridge), n("gap_mm", d.Gap), field{"direction", dir},
		n("wall_mm", d.Wall), n("clearance_mm", d.Clearance), n("lean_deg", d.Lean), n("margin", d.Margin), n("cell_mm", d.Cell),
		field{"ledge_mm", some(d.LoneLedge)}, n("drag_n", d.Drag), n("adhesion_mpa", d.Adhesion),
	)
}

func (t Taste) fields() []field {
	weights := flow(fields(field{"time", some(t.Weights.Time)}, field{"plastic_g", some(t.Weights.Plastic)},
		field{"contact_mm2", some(t.Weights.Contact)}))
	if t.Weights == (Weights{}) {
		weights = ""
	}
	unlinked, heights := "", ""
	if t.Unlinked {
		unlinked = "true"
	}
	if len(t.Heights) > 0 {
		heights = vector(t.Heights...)
	}
	return fields(field{"pad_mm", some(t.Pad)}, field{"teeth_mm", some(t.Teeth)}, field{"unlinked", unlinked}, field{"weights", weights}, field{"layer_heights_mm", heights})
}

func (z Zone) fields() []field {
	f := []field{{"id", word(z.ID)}, {"kind", word(string(z.Kind))}}
	if b := z.Box; b != nil {
		f = append(f, field{"box", flow([]field{{"min", vector(b.Min[:]...)}, {"max", vector(b.Max[:]...)}})})
	}
	if c := z.Cylinder; c != nil {
		f = append(f, field{"cylinder", flow([]field{{"from", vector(c.From[:]...)}, {"to", vector(c.To[:]...)}, {"radius", number(c.Radius)}})})
	}
	if c := z.Face; c != nil {
		f = append(f, field{"face", flow([]field{{"at", vector(c.At[:]...)}, {"normal", vector(c.Normal[:]...)}})})
	}
	return f
}

func (l Line) fields() []field {
	at := make([]string, len(l.At))
	for i, q := range l.At {
		at[i] = vector(q[:]...)
	}
	f := []field{{"id", word(l.ID)}, {"at", "[" + strings.Join(at, ", ") + "]"}}
	if len(l.Posts) > 0 {
		f = append(f, field{"posts", words(l.Posts)})
	}
	if l.Tie {
		f = append(f, field{"tie", "true"})
	}
	relieved := ""
	if len(l.Relieved) > 0 {
		relieved = counts(l.Relieved)
	}
	return append(f, fields(field{"round", some(l.Round)}, field{"relieved", relieved}, field{"by", string(l.By)})...)
}

func (q Post) fields() []field {
	under := ""
	if q.Under != "" {
		under = word(q.Under)
	}
	return fields(field{"id", word(q.ID)}, field{"at", vector(q.At[:]...)}, field{"side", some(q.Side)}, field{"reach", some(q.Reach)},
		field{"under", under}, field{"toe", some(q.Toe)}, field{"head", some(q.Head)}, field{"foot", some(q.Foot)}, field{"by", string(q.By)})
}

// flow writes a mapping on one line.
func flow(list []field) string {
	parts := make([]string, len(list))
	for i, f := range list {
		parts[i] = f.key + ": " + f.value
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

// item writes a mapping as an entry of a list, a line each.
func item(list []field) []string {
	out := make([]string, len(list))
	for i, f := range list {
		lead := "    "
		if i == 0 {
			lead = "  - "
		}
		out[i] = lead + f.key + ": " + f.value
	}
	return out
}

// section is one top-level key of the document.
type section struct {
	key   string
	value string    // of a key with a single value
	map_  []field   // of a key with a mapping of one-line values
	items [][]field // of a list, by id
	ids   []string
	raw   []string // anything else, whole lines
	keep  bool     // is written even when empty
}

func list[T any](key string, keep bool, all []T, id func(T) string, fields func(T) []field) section {
	s := section{key: key, keep: keep}
	for _, v := range all {
		s.items = append(s.items, fields(v))
		s.ids = append(s.ids, id(v))
	}
	return s
}

// sections returns the document in its own order.
func (p Plan) sections() []section {
	return []section{
		{key: "falsework", value: strconv.Itoa(p.Version), keep: true},
		{key: "part", map_: p.Part.fields(), keep: true},
		{key: "settings", map_: p.Settings.fields(), keep: true},
		{key: "taste", map_: p.Taste.fields()},
		list("zones", false, p.Zones, func(z Zone) string { return z.ID }, Zone.fields),
		list("lines", true, p.Lines, func(l Line) string { return l.ID }, Line.fields),
		list("posts", true, p.Posts, func(q Post) string { return q.ID }, Post.fields),
		list("sheets", false, p.Sheets, Sheet.name, Sheet.fields),
		list("steps", false, p.Steps, Steps.name, Steps.fields),
		{key: "struck", raw: p.Struck.text()},
		{key: "drawn", raw: p.Drawn.text()},
	}
}

// text writes a section, nothing where it is empty and may be left out.
func (s section) text() []string {
	head := s.key + ":"
	switch {
	case s.value != "":
		return []string{head + " " + s.value}
	case len(s.map_) > 0:
		out := []string{head}
		for _, f := range s.map_ {
			out = append(out, "  "+f.key+": "+f.value)
		}
		return out
	case len(s.items) > 0:
		out := []string{head}
		for _, i := range s.items {
			out = append(out, item(i)...)
		}
		return out
	case len(s.raw) > 0:
		return append([]string{head}, s.raw...)
	case s.keep:
		return []string{head + " []"}
	}
	return nil
}

// Encode writes the document anew. The same plan gives the same bytes.
func (p Plan) Encode() ([]byte, error) {
	p.Version = Version
	if err := p.Validate(); err != nil {
		return nil, err
	}
	out := strings.Split(strings.TrimSuffix(header, "\n"), "\n")
	for _, s := range p.sections() {
		if s.key == "drawn" && len(s.raw) > 0 {
			out = append(out, strings.TrimSuffix(memory, "\n"))
		}
		out = append(out, s.text()...)
	}
	return []byte(strings.Join(out, "\n") + "\n"), nil
}
