package plan

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"strconv"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/token"
)

// slip is something that a document may not hold, and the line it stands on.
type slip struct {
	line int
	text string
}

func (s *slip) Error() string { return s.text }

// fill sets v from a node of the document, strictly: every key must be known and
// given once, every list of fixed length have that length. What is left out, or
// null, keeps its value.
func fill(v reflect.Value, n ast.Node) error {
	wrong := func(format string, args ...any) error {
		return &slip{lineOf(n, nil), fmt.Sprintf(format, args...)}
	}
	if _, null := n.(*ast.NullNode); null || n == nil {
		return nil
	}
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			v.Set(reflect.New(v.Type().Elem()))
		}
		return fill(v.Elem(), n)
	case reflect.Struct:
		m, ok := n.(*ast.MappingNode)
		if !ok {
			return wrong("here should be keys and values, not %s", brief(n))
		}
		return fillStruct(v, m)
	case reflect.Slice, reflect.Array:
		s, ok := n.(*ast.SequenceNode)
		if !ok {
			return wrong("here should be a list, not %s", brief(n))
		}
		if v.Kind() == reflect.Slice {
			v.Set(reflect.MakeSlice(v.Type(), len(s.Values), len(s.Values)))
		} else if len(s.Values) != v.Len() {
			return wrong("here should be %d numbers, not %d", v.Len(), len(s.Values))
		}
		for i, one := range s.Values {
			if err := fill(v.Index(i), one); err != nil {
				return err
			}
		}
		return nil
	case reflect.Bool:
		b, ok := n.(*ast.BoolNode)
		if !ok {
			return wrong("here should be true or false, not %s", brief(n))
		}
		v.SetBool(b.Value)
		return nil
	case reflect.String:
		switch s := n.(type) {
		case *ast.StringNode:
			v.SetString(s.Value)
		case *ast.IntegerNode, *ast.FloatNode:
			v.SetString(n.GetToken().Value)
		default:
			return wrong("here should be a word, not %s", brief(n))
		}
		return nil
	}
	x, ok := numberOf(n)
	switch {
	case !ok:
		return wrong("here should be a number, not %s", brief(n))
	case v.Kind() == reflect.Float64:
		v.SetFloat(x)
	case x != math.Trunc(x) || math.Abs(x) > 1<<53:
		return wrong("here should be a whole number, not %s", brief(n))
	default:
		v.SetInt(int64(x))
	}
	return nil
}

func fillStruct(v reflect.Value, m *ast.MappingNode) error {
	given := map[string]bool{}
	for _, kv := range m.Values {
		key := kv.Key.String()
		wrong := func(text string) error { return &slip{lineOf(kv.Key, nil), text} }
		if given[key] {
			return wrong(fmt.Sprintf("%q is given twice", key))
		}
		given[key] = true
		field := reflect.Value{}
		for i := range v.NumField() {
			if name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("yaml"), ","); name == key {
				field = v.Field(i)
			}
		}
		if !field.IsValid() {
			return wrong(fmt.Sprintf("unknown field %q", key))
		}
		if err := fill(field, kv.Value); err != nil {
			return err
		}
	}
	return nil
}

// numberOf returns the number that a node holds.
func numberOf(n ast.Node) (x float64, ok bool) {
	switch n := n.(type) {
	case *ast.FloatNode:
		return n.Value, true
	case *ast.InfinityNode:
		return n.Value, true
	case *ast.NanNode:
		return math.NaN(), true
	case *ast.IntegerNode:
		switch i := n.Value.(type) {
		case int64:
			return float64(i), true
		case uint64:
			return float64(i), true
		}
	case *ast.StringNode:
		// The library takes 1e3 for a word; YAML 1.2.2, 10.3.2, has it a number.
		if n.Token.Type == token.StringType && exponent.MatchString(n.Value) {
			if x, err := strconv.ParseFloat(n.Value, 64); err == nil {
				return x, true
			}
		}
	}
	return 0, false
}

var exponent = regexp.MustCompile(`^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)[eE][-+]?[0-9]+$`)

// brief shows a node in a message.
func brief(n ast.Node) string {
	switch n.(type) {
	case *ast.MappingNode:
		return "keys and values"
	case *ast.SequenceNode:
		return "a list"
	}
	if t := n.GetToken(); t != nil {
		value := strings.Map(func(r rune) rune {
			if r < ' ' {
				return ' '
			}
			return r
		}, t.Value)
		text := []rune(strings.Join(strings.Fields(value), " "))
		if len(text) > 40 {
			text = append(text[:40], '…')
		}
		return fmt.Sprintf("%q", string(text))
	}
	return "this"
}
