package plan

import (
	"bytes"
	"strings"
	"testing"

	"github.com/goccy/go-yaml"
	"github.com/santhosh-tekuri/jsonschema/v6"
	"pgregory.net/rapid"
)

// judge compiles the schema with a validator of other people's.
func judge(t testing.TB) func(doc string) error {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(Schema()))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("plan.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("plan.json")
	if err != nil {
		t.Fatal(err)
	}
	return func(text string) error {
		data, err := yaml.YAMLToJSON([]byte(text))
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		return s.Validate(v)
	}
}

// Every plan that is written is one by the schema.
func TestSchemaTakesEveryPlan(t *testing.T) {
	valid := judge(t)
	rapid.Check(t, func(t *rapid.T) {
		data, err := anyPlan(t).Encode()
		if err != nil {
			t.Fatal(err)
		}
		if err := valid(string(data)); err != nil {
			t.Fatalf("%v\n%s", err, data)
		}
	})
}

// The schema and Decode refuse the same slips.
func TestSchemaRefusesWhatDecodeRefuses(t *testing.T) {
	valid := judge(t)
	p := small(t)
	p.Zones = []Zone{{ID: "Z1", Kind: KeepClean, Box: &Box{Max: [3]float64{1, 1, 1}}}}
	data, err := p.Encode()
	if err != nil {
		t.Fatal(err)
	}
	good := strings.TrimPrefix(string(data), header)
	for _, c := range []struct{ from, to string }{
		{"falsework: 5", "falsework: 7"},
		{"bridge_mm", "bridge"},
		{"id: L1", "id: 1L"},
		{"id: L1\n    at: [[0.24, 6.5, 30], ", "id: L1\n    at: ["},
		{"at: [14, 26]", "at: [14, 26, 3]"},
		{"at: [14, 26]", "at: [14, left]"},
		{"kind: keep-clean", "kind: clean"},
		{"box: {min: [0, 0, 0], max: [1, 1, 1]}", "boxes: {}"},
		{"box: {min: [0, 0, 0], max: [1, 1, 1]}", "box: {min: [0, 0, 0], max: [1, 1, 1]}\n    face: {at: [0, 0, 0], normal: [0, 0, 1]}"},
		{"by: designer", "by: me"},
		{"at: [26, 12, 3.4]", "at: [26, 12]"},
		{"bore: 6.6", "bore: wide"},
		{"direction: 30", "way: 30"},
		{"falsework: 5\n", ""},
	} {
		bad := strings.Replace(good, c.from, c.to, 1)
		if bad == good {
			t.Errorf("no %q in\n%s", c.from, good)
			continue
		}
		if valid(bad) == nil {
			t.Errorf("%s → %s: the schema takes it", c.from, c.to)
		}
		if _, err := Decode("x", []byte(bad)); err == nil {
			t.Errorf("%s → %s: Decode takes it", c.from, c.to)
		}
	}
}
