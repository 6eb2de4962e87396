package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"strings"

	"falsework/mesh"
	"falsework/supports/cost"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
)

// A printer is a machine with a name to tell it by.
type printer struct {
	name string
	cost.Machine
}

// printerField is one number of a printer file.
type printerField struct {
	name string
	at   func(*cost.Machine) *float64
	none bool // 0 means none
	note string
}

// printerFields are the numbers of a printer file in order. Notes give the sources
// of the defaults.
var printerFields = []printerField{
	{"speed_mm_s", func(m *cost.Machine) *float64 { return &m.Speed }, false,
		"printing supports. Common practice for a desk-top printer, no source"},
	{"first_speed_mm_s", func(m *cost.Machine) *float64 { return &m.FirstSpeed }, false,
		"printing the first layer. Common practice, no source"},
	{"travel_speed_mm_s", func(m *cost.Machine) *float64 { return &m.TravelSpeed }, false,
		"moving without printing. Common practice, no source"},
	{"accel_mm_s2", func(m *cost.Machine) *float64 { return &m.Accel }, false,
		"of every move. Common practice, no source"},
	{"corner_tolerance_mm", func(m *cost.Machine) *float64 { return &m.CornerTol }, false,
		"how far a corner may be cut, which sets the speed in it. Common practice, no source"},
	{"retract_s", func(m *cost.Machine) *float64 { return &m.Retract }, true,
		"pulling filament back, and again priming. Some 3 mm at 40 mm/s: common practice, no source"},
	{"retract_beyond_mm", func(m *cost.Machine) *float64 { return &m.RetractBeyond }, true,
		"shorter travels do not retract. Common practice, no source"},
	{"visit_mm", func(m *cost.Machine) *float64 { return &m.Visit }, true,
		"travel from part to supports, and again back, once a layer. An assumption, the same for all supports"},
	{"min_layer_s", func(m *cost.Machine) *float64 { return &m.MinLayer }, true,
		"least time of a whole layer; says nothing about supports alone. Common practice, no source"},
	{"density_g_cm3", func(m *cost.Machine) *float64 { return &m.Density }, false,
		"PLA. Processes 2025, 13(9), 2733, section 2.1"},
	{"filament_diameter_mm", func(m *cost.Machine) *float64 { return &m.Filament }, false,
		"the usual of two sizes on sale. Common practice, no source"},
}

// value returns the field's number as a printer file has it.
func (f printerField) value(m cost.Machine) float64 { return max(0, *f.at(&m)) }

// set puts a number of a printer file into m.
func (f printerField) set(m *cost.Machine, v float64) error {
	switch {
	case v < 0:
		return fmt.Errorf("%s: %g is negative", f.name, v)
	case v == 0 && !f.none:
		return fmt.Errorf("%s: 0 is no size", f.name)
	case v == 0:
		v = -1 // as cost.Machine says none
	}
	// Alone, so that the complaint is about this number.
	var one cost.Machine
	*f.at(&one) = v
	if _, err := one.Resolve(); err != nil {
		return fmt.Errorf("%s: %w", f.name, err)
	}
	*f.at(m) = v
	return nil
}

const printerHeader = `# A printer, for "falsework cost --printer FILE". Leave a line out to have its
# default. 0 means none for retract_s, retract_beyond_mm, visit_mm and min_layer_s.
`

// encodePrinter writes m, which is resolved, as a printer file.
func encodePrinter(w io.Writer, m cost.Machine) error {
	var b strings.Builder
	b.WriteString(printerHeader)
	for _, f := range printerFields {
		fmt.Fprintf(&b, "\n# %s.\n%s: %s\n", f.note, f.name, number(f.value(m)))
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
		return printer{"default", m}, err
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
	m, err := decodePrinter(path, data)
	return printer{stem(path), m}, err
}

// decodePrinter reads a printer file, a YAML mapping of the names in printerFields
// to numbers, and returns the machine resolved. name goes into errors only.
//
// Errors are *mesh.FormatError for what is no such document and
// *mesh.UnsupportedError for a number that no printer has; both name the line.
func decodePrinter(name string, data []byte) (cost.Machine, error) {
	const see = "falsework cost --print-printer shows how one is written"
	malformed := func(line int, format string, args ...any) (cost.Machine, error) {
		where := ""
		if line > 0 {
			where = fmt.Sprintf("line %d", line)
		}
		return cost.Machine{}, &mesh.FormatError{File: name, Where: where, Problem: fmt.Sprintf(format, args...), Remedy: see}
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
	var m cost.Machine
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
		if err := printerFields[field].set(&m, v); err != nil {
			return cost.Machine{}, &mesh.UnsupportedError{File: name, Where: fmt.Sprintf("line %d", line), Problem: err.Error(),
				Remedy: "give another value, or leave the line out to have the default"}
		}
	}
	return m.Resolve()
}

// lineOf returns the line that a node stands in, from 1, 0 if that is unknown.
func lineOf(n ast.Node) int {
	if t := n.GetToken(); t != nil && t.Position != nil {
		return t.Position.Line
	}
	return 0
}
