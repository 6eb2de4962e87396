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
	"falsework/supports"
	"falsework/supports/cost"
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
	printer  printerOptions
	json     bool
	force    bool
	pictures pictureOptions

	delay time.Duration // until progress is told
}

const bakeHelp = `Bake reads one part, draws supports for it, proves that both hold while they
print and come off afterwards, and writes both into the folder --out.

For a part NAME.stl it writes:

  NAME.3mf                part and supports, two bodies in one assembly: publish this
  NAME-part.stl           the part as it was read
  NAME-supports.stl       the supports, in the same frame (not written if none are needed)
  NAME.plan.yaml          contact lines and posts, for editing: see --plan
  NAME-proof.json         what was proved, and every reason if it fails
  NAME-below.png          the part from below: where supports meet it, what would fall
  NAME-three-quarter.png  part and supports, the part drawn as glass

--printer FILE has the speeds, the filament and the readings of your own printer; see
"falsework cost" and "falsework coupon". With --plan it builds exactly the plan given
and draws nothing of its own (layout does, around what is yours in it). A wish of
yours that cannot be granted is refused with exit code 3. The plan's settings then
count; an option that is given as well stands in for the
plan's, and the summary says so.

With --pose it turns the part first, by degrees or as "falsework pose" ranks it with the
same --load, --keep-clean, --weights and printer; the files have the part turned. To
build the plan of a turned part again give the same degrees.

The part must stand on the plate unless it is turned, in millimetres. A file with a body of supports
already in it is not a part.`

const bakeExample = `  falsework bake bracket.stl --out out
  falsework bake bracket.stl --out petg --bridge 7 --gap 0.25 --limit 40
  falsework bake bracket.stl --out second --plan out/bracket.plan.yaml
  falsework bake bracket.stl --out turned --pose best`

func newBakeCommand(io streams) *cobra.Command {
	o := &bakeOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "bake PART --out DIR",
		Short:   "Draw, prove and write supports for one part",
		Long:    bakeHelp,
		Example: bakeExample,
		Args:    exactly(1, "one part"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			if o.out == "" {
				return &usageError{cmd, errors.New("--out is missing: name a folder to write to")}
			}
			if cmd.Flags().Changed("plan") && o.plan == "" {
				return &usageError{cmd, errors.New("--plan is empty: name a plan, or leave it out to have one drawn")}
			}
			if err := o.turning.check(o.plan, cmd.Flags().Changed("pose")); err != nil {
				return &usageError{cmd, err}
			}
			if err := o.pictures.check(); err != nil {
				return &usageError{cmd, err}
			}
			refuse := o.printer.early
			if o.plan != "" {
				refuse = o.printer.check // the plan may mend the rest
			}
			if err := refuse(); err != nil {
				return &usageError{cmd, err}
			}
			return runBake(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write to; made if it does not exist")
	fs.StringVar(&o.plan, "plan", "", "build this plan instead of drawing one")
	o.turning.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the summary")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	o.pictures.addTo(fs)
	return cmd
}

// outputs are the names of the files that bake writes for one part.
type outputs struct {
	model, part, supports, plan, proof, below, threeQuarter string
}

func outputsOf(name string) outputs {
	return outputs{
		model: name + ".3mf", part: name + "-part.stl", supports: name + "-supports.stl",
		plan: name + ".plan.yaml", proof: name + "-proof.json",
		below: name + "-below.png", threeQuarter: name + "-three-quarter.png",
	}
}

func (o outputs) all() []string {
	return []string{o.model, o.part, o.supports, o.plan, o.proof, o.below, o.threeQuarter}
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
	proof    prove.Report
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
	b.progress.enter("writing " + o.out)
	start := time.Now()
	if err := target.place(b.files, nil); err != nil {
		return err
	}
	b.seconds.Write += time.Since(start).Seconds()
	b.progress.close()
	return b.tell(io)
}

// stages are the job up to the files in memory.
func (b *baking) stages(ctx context.Context, target output) []stage {
	return []stage{
		{"reading the part", &b.seconds.Read, func() error {
			if err := b.read(); err != nil {
				return err
			}
			return target.check(b.o.part)
		}},
		{"turning the part", &b.seconds.Pose, func() error { return b.turn(ctx) }},
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
	from := readPart
	if b.o.turning.text != "" {
		from = readLoosePart
	}
	if b.part, b.warnings, err = from(b.o.part); err != nil {
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
	var eg errgroup.Group
	eg.Go(func() (err error) {
		b.voids, err = prove.Voids(b.part, b.supports, b.settings)
		return err
	})
	b.proof, err = prove.ProveCut(b.layers, []*mesh.Mesh{b.supports}, b.settings, prove.Options{})
	if err = errors.Join(err, eg.Wait()); err != nil {
		return fmt.Errorf("%s: %w", b.o.part, err)
	}
	b.proof.Bind(b.voids)
	if err := b.proveElsewhere(); err != nil {
		return err
	}
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

// proveElsewhere proves at the other layer heights that the plan declares. What
// fails there fails.
func (b *baking) proveElsewhere() error {
	for _, h := range b.plan.Taste.Heights {
		s, err := b.plan.At(h)
		if err != nil {
			return fmt.Errorf("%s: %w", b.planName(), err)
		}
		r, err := prove.Prove(b.part, []*mesh.Mesh{b.supports}, s, prove.Options{})
		if err != nil {
			return fmt.Errorf("%s: layers of %g mm: %w", b.o.part, h, err)
		}
		for _, why := range r.Reasons {
			why.Text = fmt.Sprintf("at layers of %g mm: %s", h, why.Text)
			b.proof.Reasons = append(b.proof.Reasons, why)
		}
		if r.Verdict != prove.Holds {
			b.proof.Verdict = prove.Fails
		}
	}
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
	return nil
}

// bare tells that the part came out without supports.
func (b *baking) bare() bool { return len(b.supports.Triangles) == 0 }

func (b *baking) fails() bool { return b.proof.Verdict != prove.Holds }

// encode starts making the models in memory, beside the costing, which has no part
// in them. Nothing in them depends on clock or machine.
func (b *baking) encode() {
	names := outputsOf(b.name)
	pack := mesh.Package{
		Title: b.title(), Description: b.description(), Application: "Falsework",
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
	add(names.model, func(w io.Writer) error { return mesh.Encode3MF(w, pack) })
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
	if err != nil || b.o.pictures.none {
		return err
	}
	names := outputsOf(b.name)
	pictures, err := b.drawing().draw(names.below, names.threeQuarter, b.o.pictures.width)
	b.files = append(b.files, pictures...)
	return err
}

// title names the model so that a failed proof cannot be overlooked.
func (b *baking) title() string {
	t := b.name + " with supports"
	if b.bare() {
		t = b.name
	}
	if b.fails() {
		t += " — PROOF FAILS"
	}
	return t
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
	default:
		text += "The body named supports is taken away after printing. "
	}
	if b.o.turning.text != "" {
		text += "The part is " + b.o.turning.words() + ". "
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
		},
		Baseline: baselineReport{VolumeMM3: to(c.Baseline.VolumeMM3, 3), TimeS: to(c.Baseline.TimeS, 2), SpacingMM: c.SpacingMM},
		Proof:    shortProof(b.proof), Printer: machineOf(b.machine), Pose: b.o.turning.report(),
		Files:    []string{},
		Seconds:  b.seconds,
		Warnings: append([]string{}, b.warnings...),
	}
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
