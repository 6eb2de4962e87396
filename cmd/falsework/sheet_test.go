package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"falsework/mesh"
	"falsework/supports/prove"

	"gonum.org/v1/gonum/spatial/r3"
)

// bakedFiles bakes a part with what a designer says of it.
func bakedFiles(t *testing.T, name string, more ...string) map[string][]byte {
	t.Helper()
	out := filepath.Join(t.TempDir(), "out")
	code, _, stderr := call(append([]string{"bake", partFile(name), "--out", out, "--picture-width", "600"}, more...)...)
	if code == exitRefused {
		t.Fatal(stderr)
	}
	return folder(t, out)
}

func TestSheetSaysWhatAPrinterNeeds(t *testing.T) {
	files := bakedFiles(t, "bearing-block", "--title", `Plate <b>"A"</b> & | co`, "--designer", "Zoë", "--licence", "CC-BY-4.0",
		"--description", "Holds *nuts*.", "--created", "2026-01-31")
	html, listing := string(files["bearing-block-sheet.html"]), string(files["bearing-block-listing.md"])
	for _, want := range []string{
		"Designed by Zoë", "CC-BY-4.0", "2026-01-31", "Keep the pose", "automatic supports off", "cool", "pierced or drilled",
		"Proved", "wear eye protection", "no strength calculation", "gap as printed", "as proved", "dense supports", "underside", "0.2 mm between supports and part",
	} {
		if !strings.Contains(html, want) {
			t.Errorf("the sheet does not say %q", want)
		}
		if !strings.Contains(listing, want) {
			t.Errorf("the listing does not say %q", want)
		}
	}
	if !strings.Contains(html, "<h1>Plate &lt;b&gt;&#34;A&#34;&lt;/b&gt; &amp; | co</h1>") || !strings.Contains(listing, `# Plate \<b\>"A"\</b\> & \| co`) || !strings.Contains(listing, `Holds \*nuts\*.`) {
		t.Error("what the designer says is taken for markup")
	}
	// Each body of the proof has its row in both.
	var proof struct {
		Proof struct {
			Bodies []struct {
				ID int `json:"id"`
			} `json:"bodies"`
		} `json:"proof"`
	}
	if err := json.Unmarshal(files["bearing-block-proof.json"], &proof); err != nil {
		t.Fatal(err)
	}
	if len(proof.Proof.Bodies) == 0 {
		t.Fatal("no bodies")
	}
	for _, b := range proof.Proof.Bodies {
		if !strings.Contains(html, fmt.Sprintf(`data-of="no">%d</th>`, b.ID)) || !strings.Contains(listing, fmt.Sprintf("\n| %d | x ", b.ID)) {
			t.Errorf("body %d has no row", b.ID)
		}
	}
	// The package says the same of itself.
	doc, err := mesh.Decode3MF("plate", files["bearing-block.3mf"])
	if err != nil {
		t.Fatal(err)
	}
	if doc.Title != `Plate <b>"A"</b> & | co with supports` || doc.Designer != "Zoë" || doc.License != "CC-BY-4.0" || doc.Created != "2026-01-31" ||
		!strings.HasPrefix(doc.Description, "Holds *nuts*.") || len(doc.Notes.Skipped) > 0 {
		t.Errorf("%+v", doc)
	}
	for _, b := range doc.Bodies {
		if len(b.Thumbnail) == 0 || b.Support {
			t.Errorf("%s: picture of %d bytes, type solidsupport: %v", b.Name, len(b.Thumbnail), b.Support)
		}
	}
	if len(doc.Thumbnail) == 0 {
		t.Error("the package has no picture")
	}
}

func TestBodyTypeOfTheStandard(t *testing.T) {
	files := bakedFiles(t, "bearing-block", "--body-type", "solidsupport", "--no-pictures")
	doc, err := mesh.Decode3MF("plate", files["bearing-block.3mf"])
	if err != nil || len(doc.Bodies) != 2 || doc.Bodies[0].Support || !doc.Bodies[1].Support {
		t.Errorf("%+v, %v", doc.Bodies, err)
	}
}

func TestSheetOfAFailedProof(t *testing.T) {
	s := &sheet{Title: "a", Verdict: "The proof fails.", Reasons: []string{"12 mm² hang in the air"}}
	html, err := s.html()
	if err != nil {
		t.Fatal(err)
	}
	for _, text := range []string{string(html), string(s.markdown())} {
		if !strings.Contains(text, "The proof fails.") || !strings.Contains(text, "12 mm² hang in the air") {
			t.Errorf("not said in\n%s", text)
		}
	}
	if !strings.Contains(string(html), `class="verdict fails"`) {
		t.Error("a failure looks like any other verdict")
	}
}

// The sheet is one file: elements closed, no script, nothing fetched, every picture
// with words in its place.
func TestSheetIsWholeByItself(t *testing.T) {
	for _, name := range []string{"bearing-block", "tip-bucket-weight"} {
		files := bakedFiles(t, name)
		html := files[name+"-sheet.html"]
		for _, bad := range []string{"<script", "http:", "https:", "url(", "@import", "<link", "onload"} {
			if bytes.Contains(html, []byte(bad)) {
				t.Errorf("%s: the sheet holds %q", name, bad)
			}
		}
		// Closed as XML wants them, elements must nest.
		d := xml.NewDecoder(bytes.NewReader(regexp.MustCompile(`<(meta|img)\b([^>]*)>`).ReplaceAll(html, []byte("<$1$2/>"))))
		pictures := 0
		for {
			token, err := d.Token()
			if err == io.EOF {
				break
			}
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			tag, ok := token.(xml.StartElement)
			if !ok || tag.Name.Local != "img" {
				continue
			}
			pictures++
			attrs := map[string]string{}
			for _, a := range tag.Attr {
				attrs[a.Name.Local] = a.Value
			}
			if len(attrs["alt"]) < 10 || !strings.HasPrefix(attrs["src"], "data:image/png;base64,") || attrs["width"] != "600" || attrs["height"] != "450" {
				t.Errorf("%s: picture with alt %q, %s × %s", name, attrs["alt"], attrs["width"], attrs["height"])
			}
		}
		want := 3
		if name == "tip-bucket-weight" {
			want = 2
		}
		if pictures != want {
			t.Errorf("%s: %d pictures, want %d", name, pictures, want)
		}
	}
}

// htmlValidate is a program from npm that judges HTML; "make tools" installs it.
const htmlValidate = "../../testdata/htmlcheck/node_modules/.bin/html-validate"

// The validator html-validate finds nothing to say of the sheet, with its recommended
// rules, whether the proof holds or not; a picture without words it does not let pass.
func TestReferenceSheetIsValidHTML(t *testing.T) {
	if testing.Short() {
		t.Skip("takes long")
	}
	path, err := filepath.Abs(htmlValidate)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); err != nil {
		missing(t, "html-validate is not installed; \"make tools\" does it, with npm")
	}
	if out, err := exec.Command(path, "--version").CombinedOutput(); err != nil {
		missing(t, fmt.Sprintf("html-validate does not run (it needs Node 18 or later): %v\n%s", err, out))
	}
	for name, args := range map[string][]string{
		"wall-bracket":      {"--heights", "0.16", "--title", `A "bracket" <b> & more`, "--description", "5 < 6"},
		"tip-bucket-weight": nil,
	} {
		html := bakedFiles(t, name, args...)[name+"-sheet.html"]
		if out, err := exec.Command(path, writeFile(t, "sheet.html", html)).CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", name, err, out)
		}
		mute := writeFile(t, "mute.html", regexp.MustCompile(`alt="[^"]*"`).ReplaceAll(html, nil))
		if out, err := exec.Command(path, mute).CombinedOutput(); err == nil || !bytes.Contains(out, []byte("alt")) {
			t.Errorf("%s: pictures without words pass: %v\n%s", name, err, out)
		}
	}
}

// Words stand out from what is behind them by 4.5 to 1 at least: WCAG 2.2, success
// criterion 1.4.3, with its relative luminance and contrast ratio.
func TestSheetContrast(t *testing.T) {
	luminance := func(hex string) float64 {
		y := 0.0
		for i, share := range []float64{0.2126, 0.7152, 0.0722} {
			v, err := strconv.ParseUint(hex[1+2*i:3+2*i], 16, 8)
			if err != nil {
				t.Fatal(err)
			}
			c := float64(v) / 255
			if c <= 0.04045 {
				c /= 12.92
			} else {
				c = math.Pow((c+0.055)/1.055, 2.4)
			}
			y += share * c
		}
		return y
	}
	contrast := func(a, b string) float64 {
		p, q := luminance(a), luminance(b)
		return (max(p, q) + 0.05) / (min(p, q) + 0.05)
	}
	if c := contrast("#000000", "#ffffff"); math.Abs(c-21) > 1e-9 { // by the standard's definition
		t.Fatalf("black on white is %g", c)
	}
	style := sheetText[strings.Index(sheetText, "<style>"):strings.Index(sheetText, "</style>")]
	rule := regexp.MustCompile(`([^{}]+)\{([^{}]*)\}`)
	colour := regexp.MustCompile(`(?:^|[ ;{])color: (#[0-9a-f]{6})`)
	ground := regexp.MustCompile(`background: (#[0-9a-f]{6})`)
	words := 0
	for _, r := range rule.FindAllStringSubmatch(style, -1) {
		fg := colour.FindStringSubmatch(r[2])
		if fg == nil {
			continue
		}
		words++
		grounds := []string{"#f4f0e6", "#ffffff"} // on screen and in print
		if g := ground.FindStringSubmatch(r[2]); g != nil {
			grounds = []string{g[1]}
		}
		for _, g := range grounds {
			if c := contrast(fg[1], g); c < 4.5 {
				t.Errorf("%s: %s on %s is %.2f to 1", strings.TrimSpace(r[1]), fg[1], g, c)
			}
		}
	}
	if words < 4 {
		t.Errorf("only %d colours of words were found", words)
	}
}

func TestWaysOut(t *testing.T) {
	box := func(x0, y0, z0, x1, y1, z1 float64) r3.Box {
		return r3.Box{Min: r3.Vec{X: x0, Y: y0, Z: z0}, Max: r3.Vec{X: x1, Y: y1, Z: z1}}
	}
	part := box(0, 0, 0, 40, 40, 40)
	h := math.Sqrt(0.5)
	for _, c := range []struct {
		way   prove.Way
		want  r3.Vec
		words string
	}{
		{"down", r3.Vec{Z: -1}, "straight down, away from the part"},
		{"up", r3.Vec{Z: 1}, "straight up"},
		{"0°", r3.Vec{X: 1}, "slide it out to the right"},
		{"90°", r3.Vec{Y: 1}, "slide it out to the back"},
		{"225°", r3.Vec{X: -h, Y: -h}, "slide it out to the front left"},
		{"337.5°", r3.Vec{X: math.Cos(math.Pi / 8), Y: -math.Sin(math.Pi / 8)}, "slide it out to the right"},
		{"90° and 45° up", r3.Vec{Y: h, Z: h}, "slide it out to the back, a little upwards"},
		{"180° and 45° down", r3.Vec{X: -h, Z: -h}, "slide it out to the left, a little downwards"},
		{"", r3.Vec{}, "no straight way out: break it into pieces"},
		{"sideways", r3.Vec{}, "no straight way out: break it into pieces"},
	} {
		if v := c.way.Vector(); r3.Norm(r3.Sub(v, c.want)) > 1e-9 {
			t.Errorf("%q is %v, want %v", c.way, v, c.want)
		}
		b := prove.Body{Bounds: box(10, 10, 0, 20, 20, 20), WaysOut: []prove.Way{c.way}}
		if got := offWords(&b, part); got != c.words {
			t.Errorf("%q: %q, want %q", c.way, got, c.words)
		}
	}
	// The nearest side: 20 mm to the left, 30 to the right, 20 down, 40 up.
	b := prove.Body{Bounds: box(5, 10, 0, 20, 20, 20), WaysOut: []prove.Way{"up", "0°", "180°", "90°"}}
	if w := b.WayFrom(part); w != "180°" {
		t.Errorf("it leaves by %q", w)
	}
	if d := prove.Clear(b.Bounds, part, prove.Way("180°").Vector(), 3); d != 23 {
		t.Errorf("it is clear after %g mm, want 23", d)
	}
}
