package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/raster/view"
	"falsework/supports"
	"falsework/supports/cost"
	"falsework/supports/desk"
	"falsework/supports/grow"
	"falsework/supports/layout"
	"falsework/supports/plan"
	"falsework/supports/prove"
	"falsework/supports/survey"

	"github.com/spf13/cobra"
	"golang.org/x/sync/errgroup"
)

// bakeOptions are what bake was asked for.
type bakeOptions struct {
	part     string
	out      string
	plan     string
	turning  turning
	input    inputOptions
	printer  printerOptions
	json     bool
	force    bool
	resume   bool
	pictures pictureOptions
	publish  publishOptions

	delay time.Duration // until progress is told
}

const bakeHelp = `Bake reads a part, draws supports for it, proves that both hold while they
print and come off afterwards, and writes both into the folder --out.

For a part NAME.stl it writes:

  NAME.3mf                part and supports, two bodies in one assembly: publish this
  NAME-sheet.html         the print sheet for whoever prints it: pictures, settings, how
                          each support comes off; one file, fit for A4
  NAME-listing.md         the same as text for the page that you publish on
  NAME-part.stl           the part as it was read
  NAME-supports.stl       the supports, in the same frame (not written if none are needed)
  NAME.plan.yaml          contact lines, posts, sheets and steps, for editing: see --plan
  NAME-proof.json         what was proved, and every reason if it fails
  NAME-below.png          the part from below: where supports meet it, what would fall
  NAME-three-quarter.png  part and supports, the part drawn as glass
  NAME-exploded.png       the supports pulled away along their way out
  NAME-proof-layers.png   if the proof fails, the layers of its first reasons from above

--printer FILE has the speeds, the filament and the readings of your own printer; see
"falsework cost" and "falsework coupon". With --plan it builds exactly the plan given
and draws nothing of its own (layout does, around what is yours in it). A wish of
yours that cannot be granted is refused with exit code 3. The plan's settings then
count; an option that is given as well stands in for the
plan's, and the summary says so.

In NAME.3mf the bodies are components of one object, so that they keep their places
and can be given settings of their own. The supports are of type model, as the part
is: programs may leave out the types that the standard has for supports, or put their
own in the place of such bodies, and then nothing proved here would be printed.
--body-type solidsupport writes the standard's own all the same. Each support is a
closed shell; where they cross, both are filled once, as the standard prescribes.
Sheets and bridging steps are shells too: they are printed onto the part under the
ceilings of pockets, and the print sheet says what of them is to be pierced.
No date goes in unless you give one, so the same input gives the same bytes.

With --pose it turns the part first, by degrees or as "falsework pose" ranks it with the
same --load, --keep-clean, --weights and printer; the files have the part turned. To
build the plan of a turned part again give the same degrees.

PART is STL, 3MF or OBJ and must stand on the plate unless it is turned. Several bodies
of a 3MF file are one part; a file with supports already in it is not a part.

Several PARTs, a folder or a quoted pattern such as "kit/*.stl" are baked one after the
other. One that cannot be baked does not stop the rest; a table sums up, and is kept as
bake.csv, bake.json and bake.md. --resume goes on from there.`

const bakeExample = `  falsework bake bracket.stl --out out
  falsework bake bracket.stl --out petg --bridge 7 --gap 0.25 --limit 40
  falsework bake bracket.stl --out second --plan out/bracket.plan.yaml
  falsework bake bracket.stl --out turned --pose best
  falsework bake kit/ --out baked --designer "Ada" --licence CC-BY-4.0 --resume`

func newBakeCommand(io streams) *cobra.Command {
	o := &bakeOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "bake PART... --out DIR",
		Short:   "Draw, prove and write supports for parts",
		Long:    bakeHelp,
		Example: bakeExample,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 {
				return &usageError{cmd, errors.New("bake takes parts, files or folders of them, but was given none")}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			if o.out == "" {
				return &usageError{cmd, errors.New("--out is missing: name a folder to write to")}
			}
			if cmd.Flags().Changed("plan") && o.plan == "" {
				return &usageError{cmd, errors.New("--plan is empty: name a plan, or leave it out to have one drawn")}
			}
			pose := func() error { return o.turning.check(o.plan, cmd.Flags().Changed("pose")) }
			for _, check := range []func() error{pose, o.pictures.check, o.publish.check, func() error { return o.checkMany(args) }} {
				if err := check(); err != nil {
					return &usageError{cmd, err}
				}
			}
			refuse := o.printer.early
			if o.plan != "" {
				refuse = o.printer.check // the plan may mend the rest
			}
			if err := refuse(); err != nil {
				return &usageError{cmd, err}
			}
			if isMany(args) {
				return runBakeMany(cmd.Context(), io, o, args)
			}
			return runBake(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write to; made if it does not exist")
	fs.StringVar(&o.plan, "plan", "", "build this plan instead of drawing one")
	o.turning.addTo(fs)
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the summary")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	fs.BoolVar(&o.resume, "resume", false, "of many parts, go on with those that an earlier run did not bake, or that have changed")
	o.publish.addTo(fs)
	o.pictures.addTo(fs)
	return cmd
}

// outputs are the names of the files that bake writes for one part.
type outputs struct {
	model, sheet, listing, part, supports, plan, proof, below, threeQuarter, exploded, layers string
}

func outputsOf(name string) outputs {
	return outputs{
		model: name + ".3mf", sheet: name + "-sheet.html", listing: name + "-listing.md", part: name + "-part.stl", supports: name + "-supports.stl",
		plan: name + ".plan.yaml", proof: name + "-proof.json",
		below: name + "-below.png", threeQuarter: name + "-three-quarter.png",
		exploded: name + "-exploded.png", layers: name + "-proof-layers.png",
	}
}

func (o outputs) all() []string {
	return []string{o.model, o.sheet, o.listing, o.part, o.supports, o.plan, o.proof, o.below, o.threeQuarter, o.exploded, o.layers}
}

// baking is what one run has made so far, stage by stage.
type baking struct {
	o        *bakeOptions
	name     string
	settings supports.Settings
	machine  printer
	warnings []string
	seconds  stageSeconds
	progress *progress

	part     *mesh.Mesh
	layers   *raster.Stack
	survey   survey.Report
	plan     plan.Plan
	planText []byte
	supports *mesh.Mesh // what is written: rounded to float32
	solids   []grow.Solid
	proof    prove.Report
	contact  layout.Contact // under level ceilings
	voids    []prove.Void
	compare  cost.Comparison
	pricing  errgroup.Group
	baseline cost.Estimate // by pricing
	body     cost.Estimate // the part alone, by pricing
	encoding errgroup.Group
	encoded  []*file // by encoding
	files    []file
}

func runBake(ctx context.Context, io streams, o *bakeOptions) error {
	name := stem(o.part)
	b := &baking{o: o, name: name, progress: newProgress(io.err, o.delay)}
	defer b.progress.close()
	target := output{option: "--out", dir: filepath.Clean(o.out), names: outputsOf(name).all(), force: o.force}

	if err := work(ctx, b.progress, b.stages(ctx, target)); err != nil {
		return err
	}
	if err := put(b.progress, target, b.files, &b.seconds.Write); err != nil {
		return err
	}
	b.progress.close()
	return b.tell(io)
}

// stages are the job up to the files in memory.
func (b *baking) stages(ctx context.Context, target output) []stage {
	return append([]stage{
		{"reading the part", &b.seconds.Read, func() error {
			if err := b.read(); err != nil {
				return err
			}
			return target.check(b.o.part)
		}},
		{"turning the part", &b.seconds.Pose, func() error { return b.turn(ctx) }},
	}, b.building()...)
}

// building is the job from the part and, where one is given, the plan in memory.
func (b *baking) building() []stage {
	return []stage{
		{"cutting layers", &b.seconds.Cut, b.cut},
		{"finding what does not hold", &b.seconds.Survey, b.find},
		{"laying out contacts and posts", &b.seconds.Layout, b.layOut},
		{"growing supports", &b.seconds.Grow, b.grow},
		{"proving", &b.seconds.Prove, b.prove},
		{"costing", &b.seconds.Cost, b.price},
		{"drawing and packing", &b.seconds.Write, b.pack},
	}
}

func (b *baking) read() (err error) {
	in := b.o.input
	in.loose = b.o.turning.text != ""
	if b.part, b.warnings, err = readPart(b.o.part, in); err != nil {
		return err
	}
	if b.machine, err = readPrinter(b.o.printer.file); err != nil {
		return err
	}
	if b.o.plan == "" {
		b.settings, err = b.o.printer.settingsFor(b.machine)
		return err
	}
	if b.o.turning.text != "" {
		b.part = b.o.turning.turn.Place(b.part)
	}
	path := b.o.plan
	p, text, warnings, err := readPlan(path, b.o.part, b.part)
	if err != nil {
		return err
	}
	b.warnings = append(b.warnings, warnings...)
	read := p.Settings
	if b.machine.Readings.put(&read); read != p.Settings {
		b.warnings = append(b.warnings, "the plan's settings count, not the readings in "+b.o.printer.file+
			"; give --bridge and so on to see whether the plan holds with those")
	}
	changes, err := b.o.printer.overPlan(&p)
	if err != nil {
		return err
	}
	b.plan, b.planText = p, text
	if len(changes) > 0 {
		b.warnings = append(b.warnings, "the plan's settings do not all count: "+told(changes))
		if b.planText, err = plan.Update(text, p); err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
	}
	b.settings, err = p.Resolve()
	return err
}

// turn brings the part into the pose asked for. One that a plan belongs to is turned
// when it is read.
func (b *baking) turn(ctx context.Context) error {
	t := &b.o.turning
	if t.text == "" || b.o.plan != "" {
		return nil
	}
	if t.number > 0 {
		if err := t.rank(ctx, b.progress, b.o.part, b.part, b.settings, b.machine); err != nil {
			return err
		}
	}
	b.part = t.turn.Place(b.part)
	return nil
}

func (b *baking) cut() (err error) {
	if b.layers, err = cut(b.o.part, b.part, b.settings, 0); err != nil {
		return err
	}
	// What the supports are compared with waits for nothing but the part.
	b.pricing.Go(func() error {
		_, b.baseline = cost.Baseline(b.layers, b.settings, b.machine.Machine, cost.DefaultSpacing)
		b.body = cost.Part(b.layers, b.settings, b.machine.Machine)
		return nil
	})
	return nil
}

func (b *baking) find() error {
	b.survey = survey.Survey(b.part, b.layers, b.settings, survey.Options{})
	return nil
}

// layOut draws a plan unless one was given. It goes on with what reads back from
// the document, so that the document alone gives the same result.
func (b *baking) layOut() (err error) {
	if b.planText != nil {
		if err := layout.Check(b.plan, b.part, b.layers); err != nil {
			return wish(b.o.plan, err)
		}
		return nil
	}
	p := layout.Layout(filepath.Base(b.o.part), b.part, b.layers, b.survey.Need, b.settings, 0)
	if b.planText, err = p.Encode(); err != nil {
		return fmt.Errorf("%s: %w", b.o.part, err)
	}
	if b.plan, err = plan.Decode("the plan drawn for "+b.o.part, b.planText); err != nil {
		return err
	}
	return nil
}

func (b *baking) grow() error {
	solids, err := grow.Grow(b.plan, b.part, b.layers)
	if err != nil {
		return fmt.Errorf("%s: %w", b.planName(), err)
	}
	b.supports = &mesh.Mesh{}
	for _, s := range solids {
		b.supports.Append(s.Mesh)
	}
	b.supports.Round32()
	b.solids = solids
	return nil
}

// planName says where a plan that cannot be built came from.
func (b *baking) planName() string {
	if b.o.plan != "" {
		return b.o.plan
	}
	return "the plan drawn for " + b.o.part
}

func (b *baking) prove() (err error) {
	b.proof, b.voids, err = desk.Prove(b.plan, b.part, b.layers, b.solids, b.supports, prove.Options{})
	if err != nil {
		return fmt.Errorf("%s: %w", b.o.part, err)
	}
	b.proof.Faces(b.part)
	if err := b.proof.Walls(b.supports, b.settings); err != nil {
		return fmt.Errorf("%s: %w", b.o.part, err)
	}
	b.proof.Name(desk.Structures(b.solids)) // those notes too
	// Which wish of the designer's is why, the proof cannot know.
	if len(b.plan.Zones) > 0 || !b.plan.Struck.Empty() {
		for _, s := range layout.Bare(b.plan, b.part, b.layers, 0) {
			if s.Because != "" {
				b.warnings = append(b.warnings, s.String())
			}
		}
	}
	b.encode()
	return nil
}

func (b *baking) price() error {
	// A foot may stand out beyond the part's grid.
	grid := raster.GridFor(b.supports.Bounds(), b.settings.Cell, margin)
	sup := raster.Section(b.supports, grid, b.layers.Layers, 0)
	ours := cost.Supports(sup, b.settings, b.machine.Machine)
	_ = b.pricing.Wait() // it returns no error
	b.compare = cost.Ratio(ours, b.baseline)
	b.compare.SpacingMM = cost.DefaultSpacing
	b.contact = layout.ContactUnder(b.plan, b.layers, b.survey.Need, b.settings)
	return nil
}

// bare tells that the part came out without supports.
func (b *baking) bare() bool { return len(b.supports.Triangles) == 0 }

func (b *baking) fails() bool { return b.proof.Verdict != prove.Holds }

// encode starts making the models in memory, beside the costing, which has no part
// in them. Nothing in them depends on clock or machine.
func (b *baking) encode() {
	names := outputsOf(b.name)
	say := b.o.publish
	pack := mesh.Package{
		Title: b.title(), Designer: say.Designer, License: say.Licence, Created: say.Created, Modified: say.Modified,
		Description: b.description(), Application: "Falsework", SolidSupport: say.BodyType == "solidsupport",
		Part: mesh.Body{Name: "part", Mesh: b.part},
	}
	if !b.bare() {
		pack.Supports = []mesh.Body{{Name: "supports", Mesh: b.supports}}
	}
	add := func(name string, encode func(w io.Writer) error) {
		f := &file{name: name}
		b.encoded = append(b.encoded, f)
		b.encoding.Go(func() error {
			var buf bytes.Buffer
			if err := encode(&buf); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			f.data = buf.Bytes()
			return nil
		})
	}
	add(names.model, func(w io.Writer) error {
		if !b.o.pictures.none {
			if err := b.thumbnails(&pack); err != nil {
				return err
			}
		}
		return mesh.Encode3MF(w, pack)
	})
	add(names.part, func(w io.Writer) error { return mesh.EncodeSTL(w, b.part, b.name+", part") })
	if !b.bare() {
		add(names.supports, func(w io.Writer) error { return mesh.EncodeSTL(w, b.supports, b.name+", supports") })
	}
	add(names.plan, func(w io.Writer) error {
		_, err := w.Write(b.planText)
		return err
	})
	add(names.proof, proofDocument{Part: b.plan.Part.Name, Settings: proofSettings(b.plan.Settings), Heights: b.settings.Heights, Proof: b.proof, Voids: b.voids}.encode)
}

// pack makes every other file in memory.
func (b *baking) pack() error {
	err := b.encoding.Wait()
	for _, f := range b.encoded {
		b.files = append(b.files, *f)
	}
	if err != nil {
		return err
	}
	names := outputsOf(b.name)
	var pictures []sheetPicture
	if !b.o.pictures.none {
		if pictures, err = b.draw(names); err != nil {
			return err
		}
	}
	var voids []prove.Void
	if !b.bare() {
		if voids, err = prove.Voids(b.part, b.supports, b.settings); err != nil {
			return fmt.Errorf("%s: %w", b.o.part, err)
		}
	}
	page := newSheet(b, voids, pictures)
	html, err := page.html()
	b.files = append(b.files, file{names.sheet, html}, file{names.listing, page.markdown()})
	return err
}

// draw makes the pictures, and of them what goes into the print sheet.
func (b *baking) draw(names outputs) ([]sheetPicture, error) {
	d := b.drawing()
	s := d.scene()
	width := b.o.pictures.width
	look := func(name string, s view.Scene, c view.Camera, glass bool) shot {
		return shot{name, s, view.Options{Camera: c, GhostPart: glass, Width: width, Height: width * 3 / 4}}
	}
	list := []shot{
		look(names.below, s, view.Facing(s, view.FromBelow()), false),
		look(names.threeQuarter, s, view.Facing(s, view.ThreeQuarter()), true),
	}
	if len(b.proof.Bodies) > 0 {
		exploded, camera := d.exploded(b.proof.Bodies)
		list = append(list, look(names.exploded, exploded, camera, false))
	}
	files, err := drawShots(list...)
	if err != nil {
		return nil, err
	}
	b.files = append(b.files, files...)
	if b.fails() {
		layers, err := layerSheet(names.layers, b.name, b.layers, b.supports, b.proof, max(width, leastSheet))
		if err != nil {
			return nil, err
		}
		b.files = append(b.files, layers)
	}
	says := [][2]string{
		{"The part from below; hatched are the places where supports meet it", "From below: hatched is where supports meet the part."},
		{"Part and supports in three quarters, the part drawn as glass", "Part and supports, the part drawn as glass."},
		{"The supports pulled away from the part, each along its way out and with its number", "The supports pulled away along their way out, by their numbers."},
	}
	if len(b.proof.Bodies) == 0 {
		says = says[:2]
	}
	if b.bare() {
		says = [][2]string{{"The part from below", "From below."}, {"The part in three quarters, drawn as glass", "In three quarters, as glass."}}
	}
	var out []sheetPicture
	for i, f := range files {
		out = append(out, embedded(f, width, width*3/4, says[i][0], says[i][1]))
	}
	return out, nil
}

// Thumbnails are drawn this large, in pixels: what lists of files show.
const thumbWidth, thumbHeight = 480, 360

// thumbnails draws pictures of the package and of its bodies.
func (b *baking) thumbnails(pack *mesh.Package) error {
	s := view.Scene{Failed: b.fails(), Items: []view.Item{
		{Mesh: b.part, Role: view.Part, Name: "part"}, {Mesh: b.supports, Role: view.Support, Name: "supports"}}}
	c := view.Facing(s, view.ThreeQuarter())
	scenes := []view.Scene{s, {Items: s.Items[:1]}}
	if !b.bare() {
		scenes = append(scenes, view.Scene{Items: s.Items[1:]})
	}
	var list []shot
	for _, s := range scenes {
		list = append(list, shot{"a thumbnail", s, view.Options{Camera: c, Width: thumbWidth, Height: thumbHeight, Background: view.Plain}})
	}
	files, err := drawShots(list...)
	if err != nil {
		return err
	}
	pack.Thumbnail, pack.Part.Thumbnail = files[0].data, files[1].data
	if !b.bare() {
		pack.Supports[0].Thumbnail = files[2].data
	}
	return nil
}

// title names the model so that a failed proof cannot be overlooked.
func (b *baking) title() string {
	t := b.modelTitle()
	if !b.bare() {
		t += " with supports"
	}
	if b.fails() {
		t += " — PROOF FAILS"
	}
	return t
}

// modelTitle is the designer's name for the model, or that of the file.
func (b *baking) modelTitle() string {
	if t := b.o.publish.Title; t != "" {
		return t
	}
	return b.name
}

func (b *baking) description() string {
	s := b.settings
	text := fmt.Sprintf("Print in this pose with automatic supports off. Made for layers of %g mm (the first %g mm) and lines of %g mm. ",
		s.Layer, s.First, s.Line)
	switch {
	case b.fails():
		text = "The proof fails: parts of this would be laid in mid-air or could not come off. Do not publish it as it is. " + text
	case b.bare():
		text += "The part holds as it is and has no supports. "
	case len(b.proof.Bodies) == 0:
		text += "The body named supports is printed onto the part, and stays but for what is pierced. "
	default:
		text += "The body named supports is taken away after printing. "
	}
	if b.proof.PiercedMM2 > 0 && !b.fails() {
		text += fmt.Sprintf("Pierce %.1f mm² of thin sheets after printing; the print sheet says where. ", b.proof.PiercedMM2)
	}
	if b.o.turning.text != "" {
		text += "The part is " + b.o.turning.words() + ". "
	}
	if own := b.o.publish.Description; own != "" {
		text = own + "\n\n" + text
	}
	return text + caution
}

// drawing returns what the pictures show.
func (b *baking) drawing() drawing {
	d := proofDrawing(b.name, b.part, b.supports, b.layers.Layers, b.proof, b.settings)
	if c := b.compare; !b.bare() {
		d.subtitle = fmt.Sprintf("supports: %s, %.1f g", duration(c.Supports.TimeS), c.Supports.MassG)
		if !c.NoBaseline {
			d.subtitle += fmt.Sprintf("; %.2f of the time of dense ones", c.TimeRatio)
		}
	}
	return d
}

func (b *baking) report() *bakeReport {
	c := b.compare
	r := &bakeReport{
		Part: partOf(b.name, b.part),
		Need: needOf(&b.survey),
		Supports: supportsReport{
			Bodies: len(b.proof.Bodies), VolumeMM3: to(c.Supports.VolumeMM3, 3), TimeS: to(c.Supports.TimeS, 2),
			ContactMM2: to(b.proof.ContactMM2, 3), PlateMM2: to(b.proof.PlateMM2, 3), MassG: to(c.Supports.MassG, 3),
			Lines: len(b.plan.Lines), Posts: len(b.plan.Posts),
			PiercedMM2: to(b.proof.PiercedMM2, 3), ShallowerMM: shallower(b.proof.Sheets),
			ContactMM: to(b.contact.LengthMM, 1), BoundMM: to(b.contact.BoundMM, 1),
		},
		Baseline: baselineReport{VolumeMM3: to(c.Baseline.VolumeMM3, 3), TimeS: to(c.Baseline.TimeS, 2), SpacingMM: c.SpacingMM},
		Proof:    shortProof(b.proof), Printer: machineOf(b.machine), Pose: b.o.turning.report(),
		Files:    []string{},
		Seconds:  b.seconds,
		Warnings: append([]string{}, b.warnings...),
	}
	r.Supports.Sheets, r.Supports.Steps = sheetsOf(b.proof.Sheets)
	r.Supports.FilamentMM, r.Supports.Price = to(b.machine.FilamentMM(c.Supports.VolumeMM3), 2), b.machine.priceOf(c.Supports)
	r.Ratio = ratioOf(c.Supports, c.Baseline)
	r.Print = wholeReport{
		Part: b.machine.printOf(b.body), Supports: b.machine.printOf(b.body, c.Supports), Dense: b.machine.printOf(b.body, c.Baseline),
	}
	if r.Ratio.Time != nil {
		r.Print.Ratio = ratioOf(b.machine.Total(b.body, c.Supports), b.machine.Total(b.body, c.Baseline))
	}
	for _, f := range b.files {
		r.Files = append(r.Files, filepath.Join(b.o.out, f.name))
	}
	for _, s := range []*float64{&r.Seconds.Read, &r.Seconds.Pose, &r.Seconds.Cut, &r.Seconds.Survey, &r.Seconds.Layout, &r.Seconds.Grow, &r.Seconds.Prove, &r.Seconds.Cost, &r.Seconds.Write} {
		*s = to(*s, 4)
	}
	return r
}

// tell prints the result and returns whether it holds.
func (b *baking) tell(io streams) error {
	r := b.report()
	if b.o.json {
		if err := tellJSON(io, r, r.Warnings); err != nil {
			return err
		}
	} else {
		r.print(io.out, b.settings.Layer)
	}
	if b.fails() {
		return errProofFails
	}
	return nil
}
