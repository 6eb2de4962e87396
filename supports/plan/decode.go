package plan

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"

	"falsework/mesh"
	"falsework/supports"

	"github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/lexer"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"
)

const (
	// mostBytes bounds a document: a hundred times the largest that was drawn.
	mostBytes = 16 << 20
	// deepest bounds how deep lists and mappings may nest; ours nest five deep.
	deepest = 20
)

// Decode reads a document and checks it. The name is used in errors only. What is
// no plan, or says something impossible, is a *mesh.FormatError, or several joined;
// a version or a device of YAML that this program does not read is a
// *mesh.UnsupportedError. Both tell the line.
func Decode(name string, data []byte) (Plan, error) {
	p, tree, err := read(name, data)
	if err != nil {
		return Plan{}, err
	}
	var errs []error
	for _, f := range p.faults() {
		errs = append(errs, &mesh.FormatError{File: name, Where: onLine(lineOf(tree, f.at)), Problem: f.text})
	}
	if len(errs) > 0 {
		return Plan{}, errors.Join(errs...)
	}
	return p, nil
}

// onLine words a line of the document, nothing for 0.
func onLine(line int) string {
	if line == 0 {
		return ""
	}
	return "line " + strconv.Itoa(line)
}

// read takes a document apart without judging what it says. Structures that do not
// say whose they are become the designer's.
func read(name string, data []byte) (Plan, ast.Node, error) {
	if len(data) > mostBytes {
		return Plan{}, nil, &mesh.UnsupportedError{File: name, Problem: fmt.Sprintf("%d bytes are more than a plan has", len(data))}
	}
	if err := plain(name, data); err != nil {
		return Plan{}, nil, err
	}
	file, err := parser.ParseBytes(data, 0)
	if err != nil {
		return Plan{}, nil, malformed(name, err)
	}
	if len(file.Docs) != 1 || file.Docs[0].Body == nil {
		return Plan{}, nil, &mesh.FormatError{File: name, Problem: fmt.Sprintf("not a plan: holds %d documents", len(file.Docs))}
	}
	tree := file.Docs[0].Body
	root, ok := tree.(*ast.MappingNode)
	if !ok {
		return Plan{}, nil, &mesh.FormatError{File: name, Where: onLine(lineOf(tree, nil)), Problem: "not a plan: here should be keys and values, not " + brief(tree)}
	}
	// The version first: what another one may hold is not for this one to judge.
	version, ok := 0.0, false
	for _, kv := range root.Values {
		if kv.Key.String() == "falsework" {
			version, ok = numberOf(kv.Value)
		}
	}
	if !ok {
		return Plan{}, nil, &mesh.FormatError{File: name, Problem: "not a plan: does not say falsework: and a version"}
	}
	if version != math.Trunc(version) || version < 1 || version > Version {
		return Plan{}, nil, &mesh.UnsupportedError{File: name, Where: onLine(lineOf(tree, []string{"falsework"})),
			Problem: fmt.Sprintf("falsework: %g is not a version that this program reads (it reads 1 to %d)", version, Version)}
	}
	p := Plan{Settings: Settings{Gap: supports.DefaultGap}} // 0 would fuse them
	if err := fill(reflect.ValueOf(&p), root); err != nil {
		return Plan{}, nil, malformed(name, err)
	}
	p.Version = Version
	for i := range p.Lines {
		if p.Lines[i].By == "" {
			p.Lines[i].By = Designer
		}
	}
	for i := range p.Posts {
		if p.Posts[i].By == "" {
			p.Posts[i].By = Designer
		}
	}
	yours(p.Sheets)
	yours(p.Steps)
	return p, tree, nil
}

// plain refuses what a plan has no use for and a reader could choke on.
func plain(name string, data []byte) error {
	depth, keyed := 0, 0
	for _, t := range lexer.Tokenize(string(data)) {
		line := 0
		if t.Position != nil {
			line = t.Position.Line
		}
		switch t.Type {
		case token.AnchorType, token.AliasType, token.MergeKeyType, token.TagType, token.MappingKeyType:
			return &mesh.UnsupportedError{File: name, Where: onLine(line), Problem: fmt.Sprintf("%q: a plan has no anchors, aliases, tags or ? keys", t.Value)}
		case token.MappingValueType:
			// The library takes time that grows with the square of their number.
			if depth == 0 && line > 0 && line == keyed {
				return &mesh.FormatError{File: name, Where: onLine(line), Problem: "not a plan: two keys on one line, without brackets"}
			}
			if depth == 0 {
				keyed = line
			}
		case token.MappingStartType, token.SequenceStartType, token.SequenceEntryType:
			depth++
		case token.MappingEndType, token.SequenceEndType:
			depth--
		}
		if t.Type == token.SequenceEntryType {
			depth-- // nests by its column
			if t.Position != nil && t.Position.Column > 2*deepest {
				depth = deepest + 1
			}
		}
		if depth > deepest {
			return &mesh.UnsupportedError{File: name, Where: onLine(line), Problem: "lists and mappings nest deeper than a plan's"}
		}
	}
	return nil
}

// malformed words an error of the YAML library, or of fill, on one line.
func malformed(name string, err error) error {
	e := &mesh.FormatError{File: name, Problem: "not a plan: " + err.Error(), Err: err}
	var told yaml.Error
	var ours *slip
	switch {
	case errors.As(err, &ours):
		e.Where = onLine(ours.line)
	case errors.As(err, &told):
		if t := told.GetToken(); t != nil && t.Position != nil {
			e.Where = onLine(t.Position.Line)
		}
		e.Problem = "not a plan: " + strings.Join(strings.Fields(told.GetMessage()), " ")
	}
	return e
}

// lineOf returns the line that a place in the document stands on, given by keys and
// counts from 0, or that of the nearest thing round it; 0 where there is none.
func lineOf(n ast.Node, place []string) int {
	line := 0
	if n == nil {
		return 0
	}
	if t := n.GetToken(); t != nil && t.Position != nil {
		line = t.Position.Line
	}
	if len(place) == 0 {
		return line
	}
	var next ast.Node
	switch n := n.(type) {
	case *ast.MappingNode:
		for _, v := range n.Values {
			if v.Key.String() == place[0] {
				if t := v.Key.GetToken(); t != nil && t.Position != nil {
					line = t.Position.Line
				}
				next = v.Value
			}
		}
	case *ast.SequenceNode:
		if i, err := strconv.Atoi(place[0]); err == nil && i < len(n.Values) {
			next = n.Values[i]
		}
	}
	if next == nil {
		return line
	}
	if below := lineOf(next, place[1:]); below > 0 {
		return below
	}
	return line
}
