package desk

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"reflect"
	"strings"
)

// document is a value of the plan's types as JSON, under the names that the document has
// for its fields.
type document struct{ v any }

// MarshalJSON writes the value; empty lists are lists.
func (d document) MarshalJSON() ([]byte, error) {
	var b bytes.Buffer
	err := write(&b, reflect.ValueOf(d.v))
	return b.Bytes(), err
}

// nameOf returns what the document calls a field, and whether it is left out when empty.
func nameOf(f reflect.StructField) (name string, omit bool) {
	name, options, _ := strings.Cut(f.Tag.Get("yaml"), ",")
	return name, strings.Contains(options, "omitempty")
}

func write(b *bytes.Buffer, v reflect.Value) error {
	switch v.Kind() {
	case reflect.Pointer:
		if v.IsNil() {
			b.WriteString("null")
			return nil
		}
		return write(b, v.Elem())
	case reflect.Struct:
		b.WriteByte('{')
		first := true
		for i := range v.NumField() {
			name, omit := nameOf(v.Type().Field(i))
			if name == "" || omit && v.Field(i).IsZero() {
				continue
			}
			if !first {
				b.WriteByte(',')
			}
			first = false
			fmt.Fprintf(b, "%q:", name)
			if err := write(b, v.Field(i)); err != nil {
				return err
			}
		}
		b.WriteByte('}')
		return nil
	case reflect.Slice, reflect.Array:
		b.WriteByte('[')
		for i := range v.Len() {
			if i > 0 {
				b.WriteByte(',')
			}
			if err := write(b, v.Index(i)); err != nil {
				return err
			}
		}
		b.WriteByte(']')
		return nil
	}
	data, err := json.Marshal(v.Interface())
	b.Write(data)
	return err
}

// fieldsOf returns the fields of a struct by the names that the document has for them.
func fieldsOf(pointer any) map[string]reflect.Value {
	v := reflect.ValueOf(pointer).Elem()
	out := map[string]reflect.Value{}
	for i := range v.NumField() {
		if name, _ := nameOf(v.Type().Field(i)); name != "" {
			out[name] = v.Field(i)
		}
	}
	return out
}

// fill reads JSON into a field, structs by the document's names.
func fill(to reflect.Value, data json.RawMessage) error {
	if string(bytes.TrimSpace(data)) == "null" {
		return errors.New("null is no value")
	}
	if to.Kind() != reflect.Struct {
		fresh := reflect.New(to.Type())
		if err := strictly(data, fresh.Interface()); err != nil {
			return err
		}
		to.Set(fresh.Elem())
		return nil
	}
	var fields map[string]json.RawMessage
	if err := json.Unmarshal(data, &fields); err != nil {
		return err
	}
	known := fieldsOf(to.Addr().Interface())
	for name, value := range fields {
		f, ok := known[name]
		if !ok {
			return fmt.Errorf("there is no %q", name)
		}
		if err := fill(f, value); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}
