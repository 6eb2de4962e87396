package plan

import (
	"encoding/json"
	"reflect"
	"strings"
)

// told says what fields are for, by type and key, in the schema.
var told = map[string]string{
	"Plan.falsework":          "version of the document",
	"Plan.part":               "the part that the plan was drawn for",
	"Plan.settings":           "what the printer can do",
	"Plan.taste":              "what the designer likes, where the printer leaves a choice",
	"Plan.zones":              "places with a wish",
	"Plan.lines":              "contact lines under the part, and the walls below them",
	"Plan.posts":              "where walls gather and go down",
	"Plan.sheets":             "single layers across openings under ceilings, printed onto the part and pierced after printing",
	"Plan.steps":              "layers under the ceilings of pockets, printed onto the part, that smaller holes stand on",
	"Plan.struck":             "structures that are not to be drawn again",
	"Plan.drawn":              "what the program drew last; not for editing",
	"Part.size_mm":            "extents along x, y and z",
	"Settings.limit_deg":      "steepest overhang that holds, from the vertical",
	"Settings.bridge_mm":      "longest bridge that holds, landing to landing",
	"Settings.gap_mm":         "void between a contact and the part; 0 fuses them",
	"Settings.direction":      "in which bridges are laid: any, or degrees from +X",
	"Settings.wall_mm":        "thickness of a wall, one printed line",
	"Settings.clearance_mm":   "sideways distance from walls of the part",
	"Settings.lean_deg":       "furthest that a wall's edge may lean",
	"Settings.margin":         "share of the bridge kept in hand",
	"Settings.cell_mm":        "edge of a cell of the proof",
	"Taste.teeth_mm":          "how far apart teeth stand along lines that are fused (gap_mm: 0); if left out 8 mm, or so much further that a hand breaks a body off",
	"Taste.unlinked":          "true leaves ends of walls free that would be joined by leaning walls, which prints slower",
	"Taste.pad_mm":            "thickness of a wall's top layers; that of the wall if left out",
	"Taste.weights":           "what layouts are compared by, in seconds of print time",
	"Taste.layer_heights_mm":  "layer heights that the supports must hold at besides the settings' own",
	"Weights.time":            "a second of printing is worth so many; 1 if left out",
	"Weights.plastic_g":       "seconds that a gram of plastic is worth",
	"Weights.contact_mm2":     "seconds that a mm² of contact is worth",
	"Zone.kind":               "keep-clean: no contact, no landing; must-hold: held even where the rules would let it pass; no-go: no support enters",
	"Face.at":                 "a point on the face",
	"Face.normal":             "the direction in which the face looks there",
	"Line.at":                 "points x, y and the height of the underside there",
	"Line.posts":              "posts that the wall gathers to; any if left out",
	"Line.tie":                "holds nothing itself, only joins walls; the heights are its top's",
	"Line.round":              "radius of the arcs that it turns corners by; sharp if left out",
	"Line.relieved":           "straights, counted from 1, that only carry: the wall ends below the part there",
	"Line.by":                 "whose it is: tool may change it, designer never; designer if left out",
	"Post.at":                 "x, y of its middle",
	"Post.side":               "outer width of a hollow post; a sole has none",
	"Post.reach":              "walls within it go straight down, of a sole",
	"Post.toe":                "how much wider than its walls a sole's foot on the plate is, to either side",
	"Post.under":              "line that a sole stands under, all of it",
	"Post.head":               "height at which walls begin to spread, at most",
	"Post.foot":               "0 on the plate, else the height of the part's upper side below",
	"Post.by":                 "whose it is: tool may change it, designer never; designer if left out",
	"Sheet.at":                "x, y of a place in the opening, and the height of the ceiling over it",
	"Sheet.by":                "whose it is: tool may change it, designer never; designer if left out",
	"Steps.at":                "x, y of the hole's axis, and the height of the ceiling",
	"Steps.bore":              "diameter of the hole; found from the part if left out",
	"Steps.direction":         "of the lowest bridges, in degrees from +X",
	"Steps.by":                "whose it is: tool may change it, designer never; designer if left out",
	"Cylinder.from":           "one end of the axis",
	"Cylinder.to":             "the other",
	"Settings.nozzle_mm":      "bore of the nozzle",
	"Settings.line_mm":        "width of a printed line",
	"Settings.layer_mm":       "layer height",
	"Settings.first_layer_mm": "thickness of the first layer",
}

// schema is what of JSON Schema is needed, in the order that it is read in.
type schema struct {
	Dialect     string            `json:"$schema,omitempty"`
	Title       string            `json:"title,omitempty"`
	Description string            `json:"description,omitempty"`
	Type        any               `json:"type,omitempty"`
	Enum        []any             `json:"enum,omitempty"`
	Pattern     string            `json:"pattern,omitempty"`
	Minimum     *float64          `json:"minimum,omitempty"`
	Maximum     *float64          `json:"maximum,omitempty"`
	Items       *schema           `json:"items,omitempty"`
	MinItems    int               `json:"minItems,omitempty"`
	MaxItems    int               `json:"maxItems,omitempty"`
	Properties  map[string]schema `json:"properties,omitempty"`
	Required    []string          `json:"required,omitempty"`
	Closed      *bool             `json:"additionalProperties,omitempty"`
	OneOf       []schema          `json:"oneOf,omitempty"`
}

// Schema returns the JSON Schema (draft 2020-12) of the document, made from the
// types of this package. What it cannot say, such as that ids differ, Decode checks.
func Schema() []byte {
	s := schemaOf(reflect.TypeFor[Plan]())
	s.Dialect, s.Title = "https://json-schema.org/draft/2020-12/schema", "Falsework plan"
	data, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		panic(err) // nothing in a schema can fail to be written
	}
	return append(data, '\n')
}

func schemaOf(t reflect.Type) schema {
	switch t {
	case reflect.TypeFor[Author]():
		return schema{Enum: []any{Tool, Designer}}
	case reflect.TypeFor[Kind]():
		return schema{Enum: []any{KeepClean, MustHold, NoGo}}
	}
	switch t.Kind() {
	case reflect.Pointer:
		return schemaOf(t.Elem())
	case reflect.Slice, reflect.Array:
		items := schemaOf(t.Elem())
		s := schema{Type: "array", Items: &items}
		if t.Kind() == reflect.Array {
			s.MinItems, s.MaxItems = t.Len(), t.Len()
		}
		return s
	case reflect.Struct:
		return schemaOfStruct(t)
	case reflect.Float64:
		lo, hi := -float64(maxWeight), float64(maxWeight)
		return schema{Type: "number", Minimum: &lo, Maximum: &hi}
	case reflect.Int:
		return schema{Type: "integer"}
	case reflect.Bool:
		return schema{Type: "boolean"}
	}
	return schema{Type: "string"}
}

func schemaOfStruct(t reflect.Type) schema {
	open := false
	s := schema{Type: "object", Properties: map[string]schema{}, Closed: &open}
	for i := range t.NumField() {
		f := t.Field(i)
		key, rest, _ := strings.Cut(f.Tag.Get("yaml"), ",")
		one := schemaOf(f.Type)
		one.Description = told[t.Name()+"."+key]
		switch {
		case t == reflect.TypeFor[Plan]() && key == "falsework":
			one.Enum = nil
			for v := 1; v <= Version; v++ {
				one.Enum = append(one.Enum, v)
			}
		case key == "direction" && t == reflect.TypeFor[Settings]():
			one.Type = []string{"string", "number"}
		case key == "id":
			one.Pattern = names.String()
		case t == reflect.TypeFor[Line]() && key == "at":
			one.MinItems = 2
		}
		s.Properties[key] = one
		// All of a whole plan's parts have defaults but its version and its part.
		optional := strings.Contains(rest, "omitempty") || t == reflect.TypeFor[Settings]() ||
			t == reflect.TypeFor[Plan]() && key != "falsework" && key != "part"
		if !optional {
			s.Required = append(s.Required, key)
		}
	}
	if t == reflect.TypeFor[Zone]() {
		for _, key := range []string{"box", "cylinder", "face"} {
			s.OneOf = append(s.OneOf, schema{Required: []string{key}})
		}
	}
	return s
}
