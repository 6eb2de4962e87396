package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"falsework/supports/cost"
)

// order is the way that data flows: a package may import those of earlier lines
// only, so not those of its own.
var order = [][]string{
	{"mesh"},
	{"mesh/meshtest"},
	{"raster"},
	{"raster/view"},
	{"supports"},
	{"supports/hold", "supports/cost", "supports/coupon"},
	{"supports/need", "supports/plan", "supports/prove"},
	{"supports/remedy"},
	{"supports/grow"},
	{"supports/survey"},
	{"supports/layout"},
	{"supports/pose"},
	{"supports/desk"},
	{"cmd/falsework"},
}

// The proof sees meshes, layers and settings, and shares no decision with what
// it judges; neither does the cost.
var blind = map[string]bool{"supports/prove": true, "supports/cost": true}

func TestImportsGoOneWay(t *testing.T) {
	rank := map[string]int{}
	for i, line := range order {
		for _, p := range line {
			rank[p] = i
		}
	}
	root := filepath.Join("..", "..")
	seen := map[string]bool{}
	err := filepath.WalkDir(root, func(file string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if name := d.Name(); d.IsDir() && len(name) > 1 && name != ".." && strings.HasPrefix(name, ".") {
			return fs.SkipDir
		}
		if filepath.Ext(file) != ".go" {
			return nil
		}
		rel, err := filepath.Rel(root, filepath.Dir(file))
		if err != nil {
			return err
		}
		from := filepath.ToSlash(rel)
		// A test may take its fixtures from anywhere.
		if strings.HasSuffix(file, "_test.go") {
			return nil
		}
		at, known := rank[from]
		if !known {
			t.Errorf("%s: package %s has no place in the order of this test", file, from)
			return nil
		}
		seen[from] = true
		f, err := parser.ParseFile(token.NewFileSet(), file, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, imp := range f.Imports {
			to, err := strconv.Unquote(imp.Path.Value)
			if err != nil {
				return err
			}
			to, ours := strings.CutPrefix(to, "falsework/")
			if !ours {
				continue
			}
			if r, ok := rank[to]; !ok || r >= at {
				t.Errorf("%s: %s imports %s against the order", filepath.Base(file), from, to)
			}
			if blind[from] && path.Dir(to) == "supports" && to != "supports/hold" {
				t.Errorf("%s: %s must not know %s", filepath.Base(file), from, to)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	for p := range rank {
		if !seen[p] {
			t.Errorf("package %s is in the order but not in the tree", p)
		}
	}
}

func readme(t *testing.T) string {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("..", "..", "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	return string(data)
}

func TestReadmeQuotesTheBaseline(t *testing.T) {
	if !strings.Contains(readme(t), cost.BaselineText) {
		t.Error("the README does not hold cost.BaselineText word for word")
	}
}

// What the README says of options, files and folders is there.
func TestReadmeIsTrue(t *testing.T) {
	text := readme(t)
	_, help, _ := call("bake", "--help")
	_, more, _ := call("survey", "--help")
	_, turned, _ := call("pose", "--help")
	for _, line := range strings.Split(help+more+turned, "\n") {
		option, found := strings.CutPrefix(strings.TrimSpace(line), "--")
		if !found {
			continue
		}
		option, _, _ = strings.Cut(option, " ")
		if !strings.Contains(text, "`--"+option) {
			t.Errorf("the README does not mention --%s", option)
		}
	}
	for _, name := range append(append(outputsOf("NAME").all(), surveyOutputsOf("NAME").all()...), posesPicture("NAME")) {
		if !strings.Contains(text, "`"+name+"`") {
			t.Errorf("the README does not say what %s is for", name)
		}
	}
	for _, field := range strings.Split(text, "](")[1:] {
		target, _, _ := strings.Cut(field, ")")
		if strings.Contains(target, "://") || strings.HasPrefix(target, "#") {
			continue
		}
		if _, err := os.Stat(filepath.Join("..", "..", target)); err != nil {
			t.Errorf("the README links to %s: %v", target, err)
		}
	}
}
