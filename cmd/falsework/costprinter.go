package main

import (
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/plan"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// A printer is a machine with a name to tell it by, and what was read off its
// prints.
type printer struct {
	name string
	cost.Machine
	Readings
}

// Readings are what a coupon tells of a printer, and what its owner pays; nil: not
// read.
type Readings struct {
	Line     *float64 `json:"line_mm"`
	Limit    *float64 `json:"limit_deg"` // from the vertical
	Bridge   *float64 `json:"bridge_mm"`
	Gap      *float64 `json:"gap_mm"`
	Ledge    *float64 `json:"ledge_mm"`
	Adhesion *float64 `json:"adhesion_mpa"`
	Price    *float64 `json:"price_per_kg"`
}

// put sets the settings that were read.
func (r Readings) put(d *plan.Settings) {
	for _, f := range []struct{ from, to *float64 }{
		{r.Line, &d.Line}, {r.Limit, &d.Limit}, {r.Bridge, &d.Bridge}, {r.Gap, &d.Gap}, {r.Ledge, &d.LoneLedge}, {r.Adhesion, &d.Adhesion},
	} {
		if f.from != nil {
			*f.to = *f.from
		}
	}
}

// printerField is one number of a printer file.
type printerField struct {
	name string
	at   func(*printer) any // *float64, *int or, where it may be left open, **float64
	none bool               // 0 means none
	note string
	// Of a number that may be left open: its bounds, and what it is then.
	lo, hi, open float64
}

// printerFields are the numbers of a printer file in order. Notes give the sources
// of the defaults.
var printerFields = []printerField{
	{name: "speed_mm_s", at: func(p *printer) any { return &p.Speed },
		note: "printing supports and the inside of parts. Common practice for a desk-top printer, no source"},
	{name: "outer_speed_mm_s", at: func(p *printer) any { return &p.OuterSpeed },
		note: "printing a part's outermost outline, half as fast for looks. Common practice, no source"},
	{name: "first_speed_mm_s", at: func(p *printer) any { return &p.FirstSpeed },
		note: "printing the first layer. Common practice, no source"},
	{name: "travel_speed_mm_s", at: func(p *printer) any { return &p.TravelSpeed },
		note: "moving without printing. Common practice, no source"},
	{name: "accel_mm_s2", at: func(p *printer) any { return &p.Accel },
		note: "of every move. Common practice, no source"},
	{name: "corner_tolerance_mm", at: func(p *printer) any { return &p.CornerTol },
		note: "how far a corner may be cut, which sets the speed in it. Common practice, no source"},
	{name: "retract_s", at: func(p *printer) any { return &p.Retract }, none: true,
		note: "pulling filament back, and again priming. Some 3 mm at 40 mm/s: common practice, no source"},
	{name: "retract_beyond_mm", at: func(p *printer) any { return &p.RetractBeyond }, none: true,
		note: "shorter travels do not retract. Common practice, no source"},
	{name: "visit_mm", at: func(p *printer) any { return &p.Visit }, none: true,
		note: "travel from part to supports, and again back, once a layer. An assumption, the same for all supports"},
	{name: "min_layer_s", at: func(p *printer) any { return &p.MinLayer }, none: true,
		note: "least time of a whole layer; says nothing about supports alone. Common practice, no source"},
	{name: "loops", at: func(p *printer) any { return &p.Loops },
		note: "outlines of a part. Common practice, no source"},
	{name: "solid_layers", at: func(p *printer) any { return &p.Solid }, none: true,
		note: "full layers at a part's undersides and tops. Common practice, no source"},
	{name: "infill_share", at: func(p *printer) any { return &p.Infill }, none: true,
		note: "of the room inside a part that lines take, 0 to 1. Common practice, no source"},
	{name: "density_g_cm3", at: func(p *printer) any { return &p.Density },
		note: "PLA. Processes 2025, 13(9), 2733, section 2.1"},
	{name: "filament_diameter_mm", at: func(p *printer) any { return &p.Filament },
		note: "the usual of two sizes on sale. Common practice, no source"},
	{name: "line_mm", at: func(p *printer) any { return &p.Line }, lo: 0.1, hi: 3, open: supports.DefaultNozzle,
		note: "width of a printed line; else the nozzle's bore. Common practice, no source"},
	{name: "limit_deg", at: func(p *printer) any { return &p.Limit }, lo: 10, hi: 80, open: 45,
		note: "steepest overhang that holds, from the vertical. Mazlan 2020, JAITA, 38–47"},
	{name: "bridge_mm", at: func(p *printer) any { return &p.Bridge }, lo: 2, hi: 200, open: supports.DefaultBridge,
		note: "longest bridge that holds. Common practice, no source"},
	{name: "gap_mm", at: func(p *printer) any { return &p.Gap }, lo: 0.01, hi: 1, open: supports.DefaultGap,
		note: "void between support and part that comes off and still holds. Common practice, no source"},
	{name: "ledge_mm", at: func(p *printer) any { return &p.Ledge }, lo: 0.01, hi: 5, open: supports.DefaultNozzle,
		note: "how far one lone layer stands out and holds; else a line. Common practice, no source"},
	{name: "adhesion_mpa", at: func(p *printer) any { return &p.Adhesion }, lo: 0.001, hi: 50, open: 2,
		note: "tension under which a foot lets go of the plate. An assumption"},
	{name: "price_per_kg", at: func(p *printer) any { return &p.Price }, lo: 0, hi: 1e6, open: 20,
		note: "of filament, in any money. An example, no source"},
}

// value returns the field's number as a printer file has it, and whether it is
// given at all.
func (f printerField) value(p printer) (float64, bool) {
	switch v := f.at(&p).(type) {
	case *float64:
		return max(0, *v), true
	case *int:
		return float64(max(0, *v)), true
	case **float64:
		if *v != nil {
			return **v, true
		}
	}
	return f.open, false
}

// set puts a number of a printer file into p.
func (f printerField) set(p *printer, v float64) error {
	if open, ok := f.at(p).(**float64); ok {
		if !(v >= f.lo && v <= f.hi) {
			return fmt.Errorf("%s: %g is outside %g to %g", f.name, v, f.lo, f.hi)
		}
		*open = &v
		return nil
	}
	switch {
	case v < 0:
		return fmt.Errorf("%s: %g is negative", f.name, v)
	case v == 0 && !f.none:
		return fmt.Errorf("%s: 0 is no size", f.name)
	case v == 0:
		v = -1 // as cost.Machine says none
	}
	put := func(p *printer) error {
		switch at := f.at(p).(type) {
		case *float64:
			*at = v
		case *int:
			if v != math.Trunc(v) || v > 1000 {
				return fmt.Errorf("%s: %g is no count", f.name, v)
			}
			*at = int(v)
		}
		return nil
	}
	// Alone at first, so that the complaint is about this number.
	var one printer
	if err := put(&one); err != nil {
		return err
	}
	if _, err := one.Resolve(); err != nil {
		return fmt.Errorf("%s: %w", f.name, err)
	}
	return put(p)
}

const printerHeader = `# A printer, for "--printer FILE" of every command. Leave a line out to have its
# default. 0 means none for retract_s, retract_beyond_mm, visit_mm, min_layer_s,
# solid_layers and infill_share. Lines that begin with "#" count once you take it
# away: put your own readings there, "falsework coupon" prints what to read them off.
`

// encodePrinter writes p, whose machine is resolved, as a printer file.
func encodePrinter(w io.Writer, p printer) error {
	var b strings.Builder
	b.WriteString(printerHeader)
	for _, f := range printerFields {
		v, given := f.value(p)
		mark := ""
		if !given {
			mark = "# "
		}
		fmt.Fprintf(&b, "\n# %s.\n%s%s: %s\n", f.note, mark, f.name, number(v))
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }

// mostPrinter bounds a printer file, in bytes: the YAML parser's time grows with the
// square of how deep a text nests, to a tenth of a second for so many.
const mostPrinter = 1 << 13

// readPrinter reads a printer file. Without a path it is the default one.
func readPrinter(path string) (printer, error) {
	if path == "" {
		m, err := cost.Machine{}.Resolve()
		return printer{name: "default", Machine: m}, err
	}
	file, err := os.Open(path)
	if err != nil {
		return printer{}, fileError(path, err)
	}
	defer file.Close()
	data, err := io.ReadAll(io.LimitReader(file, mostPrinter+1))
	if err != nil {
		return printer{}, fileError(path, err)
	}
	p, err := decodePrinter(path, data)
	p.name = stem(path)
	return p, err
}

// decodePrinter reads a printer file, a YAML mapping of the names in printerFields
// to numbers, and returns the printer with its machine resolved. name goes into errors
// only.
//
// Errors are *mesh.FormatError for what is no such document and
// *mesh.UnsupportedError for a number that no printer has; both name the line.
func decodePrinter(name string, data []byte) (printer, error) {
	const see = "falsework cost --print-printer shows how one is written"
	malformed := func(line int, format string, args ...any) (printer, error) {
		where := ""
		if line > 0 {
			where = fmt.Sprintf("line %d", line)
		}
		return printer{}, &mesh.FormatError{File: name, Where: where, Problem: fmt.Sprintf(format, args...), Remedy: see}
	}
	if len(data) > mostPrinter {
		return malformed(0, "more than %d bytes, so no printer file", mostPrinter)
	}
	doc, err := parser.ParseBytes(data, 0)
	var bad yaml.Error
	switch {
	case errors.As(err, &bad) && bad.GetToken() != nil && bad.GetToken().Position != nil:
		return malformed(bad.GetToken().Position.Line, "no YAML: %s", oneLine(errors.New(bad.GetMessage())))
	case err != nil:
		return malformed(0, "no YAML: %s", oneLine(err))
	case len(doc.Docs) != 1 || doc.Docs[0].Body == nil:
		return malformed(0, "holds %d documents where one printer should be", len(doc.Docs))
	}
	pairs, ok := doc.Docs[0].Body.(ast.MapNode)
	if !ok {
		return malformed(lineOf(doc.Docs[0].Body), "not a list of names and numbers")
	}
	var p printer
	seen := map[string]bool{}
	for at := pairs.MapRange(); at.Next(); {
		key := at.Key().String()
		line := lineOf(at.Key())
		field := -1
		for i, f := range printerFields {
			if f.name == key {
				field = i
			}
		}
		value, isNumber := at.Value().(ast.ScalarNode)
		if isNumber {
			isNumber = value.Type() == ast.IntegerType || value.Type() == ast.FloatType
		}
		switch {
		case field < 0:
			return malformed(line, "%.40q is no field of a printer", key)
		case seen[key]:
			return malformed(line, "%s is given twice", key)
		case !isNumber:
			return malformed(line, "%s is not a number", key)
		}
		seen[key] = true
		v, err := strconv.ParseFloat(value.GetToken().Value, 64)
		if err != nil {
			return malformed(line, "%s: %.40q is not a decimal number", key, value.GetToken().Value)
		}
		if err := printerFields[field].set(&p, v); err != nil {
			return printer{}, &mesh.UnsupportedError{File: name, Where: fmt.Sprintf("line %d", line), Problem: err.Error(),
				Remedy: "give another value, or leave the line out to have the default"}
		}
	}
	p.Machine, err = p.Resolve()
	return p, err
}

// lineOf returns the line that a node stands in, from 1, 0 if that is unknown.
func lineOf(n ast.Node) int {
	if t := n.GetToken(); t != nil && t.Position != nil {
		return t.Position.Line
	}
	return 0
}
