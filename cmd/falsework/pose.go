package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"falsework/mesh"
	"falsework/supports"
	"falsework/supports/plan"
	"falsework/supports/pose"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"gonum.org/v1/gonum/spatial/r3"
)

// poseWishes are what poses are ranked for, alike in every command that ranks them.
type poseWishes struct {
	loads, clean []string
	weights      string
}

func (w *poseWishes) addTo(fs *pflag.FlagSet) {
	fs.StringArrayVar(&w.loads, "load", nil, "direction `x,y,z` or x,y,z:weight that the part is pulled in; may be repeated")
	fs.StringArrayVar(&w.clean, "keep-clean", nil, "direction `x,y,z` of faces that no support should touch; may be repeated")
	fs.StringVar(&w.weights, "weights", "", "what `counts` how much, as time=2,height=0 (default 1 each)")
}

func (w *poseWishes) given() bool { return len(w.loads) > 0 || len(w.clean) > 0 || w.weights != "" }

// options returns the wishes as numbers.
func (w *poseWishes) options() (o pose.Options, err error) {
	for _, text := range w.loads {
		direction, weight, weighted := strings.Cut(text, ":")
		l := pose.Load{Weight: 1}
		if l.Dir, err = parseLoad(direction); err != nil {
			return o, err
		}
		if weighted {
			if l.Weight, err = strconv.ParseFloat(strings.TrimSpace(weight), 64); err != nil || !(l.Weight > 0) || l.Weight > mostLoad {
				return o, fmt.Errorf("--load %q has no weight above 0 behind its colon; write x,y,z:2", text)
			}
		}
		if l.Dir == (r3.Vec{}) {
			return o, errors.New("--load is empty: give a direction such as 0,0,1, or leave it out")
		}
		o.Loads = append(o.Loads, l)
	}
	for _, text := range w.clean {
		d, err := parseLoad(text)
		if err != nil || d == (r3.Vec{}) {
			return o, fmt.Errorf("--keep-clean %q is no direction; give three numbers such as 0,0,1", text)
		}
		o.Clean = append(o.Clean, d)
	}
	if o.Weights, err = pose.ParseWeights(w.weights); err != nil {
		return o, fmt.Errorf("--weights: %w", err)
	}
	return o, nil
}

// poseOptions are what pose was asked for.
type poseOptions struct {
	part     string
	input    inputOptions
	wishes   poseWishes
	plan     string // whose zones are to be kept clean; empty: none
	turnText string
	turn     pose.Turn // that the plan's part was turned by
	rows     int
	out      string // empty: no picture
	printer  printerOptions
	json     bool
	force    bool
	pictures pictureOptions

	delay time.Duration // until progress is told
}

const poseHelp = `Pose ranks ways to turn a part before it is printed. Half of all supports vanish by
turning the part; what that costs in height, strength and marks is told beside it.

Sides of the part's convex hull that it can stand on, its flats laid level, and 1500
directions all round are compared by sums over its triangles; the best of the directions
are refined, and poses that are the same by symmetry count once. For the best twenty
supports are really drawn, proved and timed. They are drawn once, and where much needs
holding on cells of half a line and timed by one layer of four; "falsework bake" draws
finer and again until a drawing is quicker or comes off, so its figures differ a little,
and a pose that fails here may hold there; here it comes after those that hold. The pose
as given is always in the table. The part need not stand on the plate.

  turn        degrees about X, then Y, then Z, axes that stay where they are:
              "falsework bake PART --pose 90,0,0" takes one of your own
  points      the criteria together, less is better; see --weights
  supports, g, contact
              time and plastic of supports, and where they touch the part, in mm²
  height      of the part in mm
  foot        area of its first layer in mm²
  tips at     how far it may be tilted before it falls; 0 where it does not stand
  layers      with --load: weakness across layers, 1 along them to 1.92 across
              (PLA, doi 10.1089/3dp.2020.0109). It ranks poses and is no strength
              calculation
  clean       with --keep-clean or --plan: what of the faces to keep clean needs
              holding, in mm²
  front       yes where no other pose is as good in everything and better in
              something; else the first pose that is

Below it stands what each pose wins and loses beside the given one.

--plan names a plan of the part: its keep-clean zones are faces to keep clean in every
pose, and its settings count. They belong to the part as the plan has it, so a plan that
was drawn for a turned part wants those degrees as --pose. Other zones, lines and posts
belong to one pose and are passed over.

--weights says how much each counts. One point is 10 min of supports (time), 1600 mm³
of plastic (plastic), 100 mm² of contact (contact), 50 mm of height (height), a part
10 times as high as its foot is wide (slender), each 5° short of 15° before it tips
(tipping), a quarter of weakness across the load (layers), 50 mm² of faces to keep
clean (clean).

Nothing is written unless you ask for it: --out draws NAME-poses.png, the best poses
with their supports. The exit code is 0 when poses were ranked.`

const poseExample = `  falsework pose bracket.stl
  falsework pose bracket.stl --load 0,0,1 --load 1,0,0:0.5 --keep-clean 0,-1,0 --out out
  falsework pose bracket.stl --weights time=2,height=0
  falsework pose bracket.stl --plan out/bracket.plan.yaml
  falsework bake bracket.stl --pose best --out out`

// toldEvery is after how many poses progress is told.
const toldEvery = 5

// mostPoses bounds the poses of the table and of the picture.
const mostPoses = 21

func newPoseCommand(io streams) *cobra.Command {
	o := &poseOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "pose PART",
		Short:   "Rank which way up to print a part",
		Long:    poseHelp,
		Example: poseExample,
		Args:    exactly(1, "one part"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			refuse := func(err error) error { return &usageError{cmd, err} }
			if cmd.Flags().Changed("out") && o.out == "" {
				return refuse(errors.New("--out is empty: name a folder, or leave it out to have no picture"))
			}
			if o.rows < 1 || o.rows > mostPoses {
				return refuse(fmt.Errorf("--rows %d is outside 1 to %d", o.rows, mostPoses))
			}
			if _, err := o.wishes.options(); err != nil {
				return refuse(err)
			}
			if err := o.checkPlan(cmd.Flags().Changed); err != nil {
				return refuse(err)
			}
			if err := o.pictures.check(); err != nil {
				return refuse(err)
			}
			if err := o.printer.early(); err != nil {
				return refuse(err)
			}
			return runPose(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	o.wishes.addTo(fs)
	fs.StringVar(&o.plan, "plan", "", "plan of the part, a YAML `file`, whose keep-clean zones count as --keep-clean does")
	fs.StringVar(&o.turnText, "pose", "", "degrees `x,y,z` that the plan's part was turned by (default as given)")
	fs.IntVar(&o.rows, "rows", 8, "how many poses the table has, the given one not counted")
	fs.StringVar(&o.out, "out", "", "folder to write a picture to; made if it does not exist")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the table")
	fs.BoolVar(&o.force, "force", false, "replace a picture that an earlier run wrote")
	o.pictures.addTo(fs)
	return cmd
}

// posesPicture is the name of the picture of one part's poses.
func posesPicture(name string) string { return name + "-poses.png" }

// posing is what one run has made so far, stage by stage.
type posing struct {
	o        *poseOptions
	name     string
	settings supports.Settings
	machine  printer
	warnings []string
	seconds  poseSeconds

	part   *mesh.Mesh
	wishes pose.Options
	poses  []pose.Pose
	files  []file
}

func runPose(ctx context.Context, io streams, o *poseOptions) error {
	v := &posing{o: o, name: stem(o.part)}
	p := newProgress(io.err, o.delay)
	defer p.close()
	target := output{option: "--out", dir: filepath.Clean(o.out), names: []string{posesPicture(v.name)}, force: o.force}
	stages := []stage{
		{"reading the part", &v.seconds.Read, func() error {
			if err := v.read(); err != nil || o.out == "" {
				return err
			}
			return target.check(o.part)
		}},
		{"comparing directions", &v.seconds.Rank, func() (err error) {
			v.poses, err = rankPoses(ctx, p, o.part, v.part, v.wishes)
			return err
		}},
		{"drawing", &v.seconds.Write, v.draw},
	}
	if err := work(ctx, p, stages); err != nil {
		return err
	}
	if err := put(p, target, v.files, &v.seconds.Write); err != nil {
		return err
	}
	p.close()
	return v.tell(io)
}

func (v *posing) read() (err error) {
	in := v.o.input
	in.loose = true
	if v.part, v.warnings, err = readPart(v.o.part, in); err != nil {
		return err
	}
	if v.machine, err = readPrinter(v.o.printer.file); err != nil {
		return err
	}
	if v.wishes, err = v.o.wishes.options(); err != nil {
		return err
	}
	if v.o.plan != "" {
		err = v.readPlan()
	} else {
		v.settings, err = v.o.printer.settingsFor(v.machine)
	}
	v.wishes.Settings, v.wishes.Machine = v.settings, v.machine.Machine
	return err
}

// readPlan takes the settings of a plan and what its zones keep clean.
func (v *posing) readPlan() error {
	placed := v.part
	if v.o.turnText != "" {
		placed = v.o.turn.Place(v.part)
	}
	p, _, warnings, err := readPlan(v.o.plan, v.o.part, placed)
	if err != nil {
		return err
	}
	changes, err := v.o.printer.overPlan(&p)
	if err != nil {
		return err
	}
	space, err := plan.NewSpace(p.Zones, placed)
	if err != nil {
		return wish(v.o.plan, err)
	}
	v.warnings = append(v.warnings, warnings...)
	if len(changes) > 0 {
		v.warnings = append(v.warnings, "the plan's settings do not all count: "+told(changes))
	}
	if !space.Has(plan.KeepClean) {
		v.warnings = append(v.warnings, "the plan has no keep-clean zones: of it only the settings count")
	}
	// A triangle has one number in every pose.
	v.wishes.CleanShares = space.Shares(plan.KeepClean, placed)
	v.settings, err = p.Resolve()
	return err
}

// checkPlan reads how a plan's part was turned, and refuses what does not go together.
func (o *poseOptions) checkPlan(changed func(name string) bool) (err error) {
	switch {
	case changed("plan") && o.plan == "":
		return errors.New("--plan is empty: name a file, or leave it out")
	case changed("pose") && o.plan == "":
		return errors.New("--pose says how a plan's part was turned: give --plan with it")
	case changed("pose"):
		if o.turn, err = pose.ParseTurn(o.turnText); err != nil {
			return fmt.Errorf("--pose: %w", err)
		}
	}
	return nil
}

// rankPoses returns the poses of a part, the best first, all of them laid out.
func rankPoses(ctx context.Context, p *progress, path string, part *mesh.Mesh, o pose.Options) ([]pose.Pose, error) {
	poses, err := pose.Find(part, o)
	if errors.Is(err, pose.ErrFlat) {
		return nil, &mesh.UnsupportedError{File: path, Problem: "the part is flat and has no volume", Remedy: "export a solid"}
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	for i := range poses {
		if err := checkRoom(path, poses[i].Turn.Place(part).Bounds(), o.Settings); err != nil {
			return nil, err
		}
	}
	told := func(n int) {
		if n%toldEvery == 0 {
			p.enter(fmt.Sprintf("laying out poses, %d of %d done", n, len(poses)))
		}
	}
	told(0)
	if err := pose.LayOut(ctx, part, poses, o, told); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	pose.Rank(poses, o.Weights)
	return poses, nil
}

// turning is which pose bake was asked for.
type turning struct {
	text   string // empty: the given one
	wishes poseWishes

	number int // of the ranking, 1 is the best; 0 for none
	turn   pose.Turn
	of     int // poses ranked
}

func (t *turning) addTo(fs *pflag.FlagSet) {
	fs.StringVar(&t.text, "pose", "", "turn the part first: best, a row of \"falsework pose\", or degrees as 90,0,0")
	t.wishes.addTo(fs)
}

// check reads the pose asked for and refuses what does not go together.
func (t *turning) check(plan string, changed bool) (err error) {
	if t.text == "" && changed {
		return errors.New("--pose is empty: give best, a number or degrees as 90,0,0, or leave it out")
	}
	switch n, numeric := strconv.Atoi(t.text); {
	case t.text == "":
	case t.text == "best":
		t.number = 1
	case numeric == nil:
		if t.number = n; n < 1 {
			return fmt.Errorf("--pose %d is no number of a pose; the best is 1", n)
		}
	default:
		if t.turn, err = pose.ParseTurn(t.text); err != nil {
			return fmt.Errorf("--pose: %w, best, or a number", err)
		}
	}
	switch {
	case t.number > 0 && plan != "":
		return errors.New("--pose ranks poses, but a plan belongs to one: give the degrees that the plan was drawn with")
	case t.number == 0 && t.wishes.given():
		return errors.New("--load, --keep-clean and --weights rank poses: give --pose best or a number with them")
	}
	_, err = t.wishes.options()
	return err
}

// rank finds the pose of that number.
func (t *turning) rank(ctx context.Context, p *progress, path string, part *mesh.Mesh, s supports.Settings, machine printer) error {
	o, err := t.wishes.options()
	if err != nil {
		return err
	}
	o.Settings, o.Machine = s, machine.Machine
	poses, err := rankPoses(ctx, p, path, part, o)
	if err != nil {
		return err
	}
	if t.number > len(poses) {
		return fmt.Errorf("%s: there is no pose %d, only %d; \"falsework pose\" lists them", path, t.number, len(poses))
	}
	t.turn, t.of = poses[t.number-1].Turn, len(poses)
	return nil
}

// words says how the part was turned.
func (t *turning) words() string {
	if t.turn == (pose.Turn{}) {
		return "as given"
	}
	return fmt.Sprintf("turned by %v (degrees about X, then Y, then Z) from the file and set on the plate", t.turn)
}

// turnReport says in which pose a part was baked.
type turnReport struct {
	TurnDeg [3]float64 `json:"turn_deg"`
	Number  int        `json:"number"` // of the ranking; 0 where none was made
	Of      int        `json:"of"`
}

func (t *turning) report() *turnReport {
	if t.text == "" {
		return nil
	}
	return &turnReport{turnOf(t.turn), t.number, t.of}
}

func turnOf(t pose.Turn) [3]float64 { return [3]float64{t.XDeg, t.YDeg, t.ZDeg} }

// degreesOf rounds an angle as tables have it.
func degreesOf(radians float64) float64 { return to(radians*180/math.Pi, 1) }

// words says it for the summary.
func (r *turnReport) words() string {
	s := (&turning{turn: pose.Turn{XDeg: r.TurnDeg[0], YDeg: r.TurnDeg[1], ZDeg: r.TurnDeg[2]}}).words()
	if r.Of > 0 {
		s += fmt.Sprintf("; number %d of %d that were ranked", r.Number, r.Of)
	}
	return s
}
