package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"falsework/mesh"
	"falsework/raster"
	"falsework/supports"
	"falsework/supports/survey"

	"github.com/spf13/cobra"
	"gonum.org/v1/gonum/spatial/r3"
)

// surveyOptions are what survey was asked for.
type surveyOptions struct {
	part     string
	out      string // empty: no pictures
	cutters  string // empty: none wanted
	load     string // empty: none
	input    inputOptions
	printer  printerOptions
	json     bool
	force    bool
	pictures pictureOptions

	delay time.Duration // until progress is told
}

const surveyHelp = `Survey says what of a part would fall in this pose on this printer, why, and what
to change in CAD so that it no longer does. Ask it before you bake: the best
support is none.

It prints one row for each region that would fall, in order of height:

  no          its number, which the pictures use too
  kind        tip, hanging edge, hanging face (they begin in mid-air), slope,
              bore crown, ledge, flat ceiling, ring ceiling, bridge too far
  z, at, area where it is, and how much of it in plan view
  span        of a level face: the longest bead in the air, laid in its best
              direction (degrees from +X); "open" if beads end in the air
  steepest    the greatest angle of its faces from the vertical; 90° is level
  rule        overhang: further out than the layer below carries
              bridge: no bead across it lands at both ends
              island: nothing below it to hang from
  from plate  the share with nothing between it and the plate, which supports
              can reach without standing on the part

Below each row stand its remedies as sentences, the cheapest first. Then come
notes on other places; a note marked "advice" is about strength or looks, and no
strength calculation. With --load it says where layers lie across that direction.

Nothing is written unless you ask for it:

  --out DIR           NAME-survey-below.png, the part from below with the regions
                      hatched and numbered; and where that view hides one,
                      NAME-survey-glass.png, the same with the part as glass
  --cutters FILE.stl  the solids that remedies take away from the part, such as
                      teardrop crowns, in place: import the file beside the part
                      in CAD and subtract it

The part must stand on the plate, in millimetres, as for bake. Exit code 0 says
that the survey is done, also where something would fall; 2 that it was refused.

--json prints one object:

  part       name, triangles, size_mm [x,y,z], volume_mm3
  need       area_mm2, regions, findings[], one for each region: id, kind, rule,
             z_mm [lo,hi], first_layer (0 is on the plate), area_mm2,
             from_plate_mm2, center_mm [x,y,z], span_mm, worst_span_mm, span_deg,
             open, steepest_deg, faces[] (triangles of the file, from 0),
             remedies[]: name, text, cutter_triangles
  notes[]    name, text, at_mm [x,y,z], advice
  certified_deg, certified_rise_mm
             a slope so steep that rises so far is sure to be found
  seconds    read, cut, survey, write
  files[], warnings[]`

const surveyExample = `  falsework survey bracket.stl
  falsework survey bracket.stl --out out --cutters out/bracket-cutters.stl
  falsework survey bracket.stl --json --bridge 7 --limit 40`

func newSurveyCommand(io streams) *cobra.Command {
	o := &surveyOptions{delay: progressDelay}
	cmd := &cobra.Command{
		Use:     "survey PART",
		Short:   "Tell what would fall, why, and what to change in CAD instead",
		Long:    surveyHelp,
		Example: surveyExample,
		Args:    exactly(1, "one part"),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.part = args[0]
			refuse := func(err error) error { return &usageError{cmd, err} }
			switch fs := cmd.Flags(); {
			case fs.Changed("out") && o.out == "":
				return refuse(errors.New("--out is empty: name a folder, or leave it out to have no pictures"))
			case fs.Changed("cutters") && o.cutters == "":
				return refuse(errors.New("--cutters is empty: name a file, or leave it out"))
			case o.cutters != "" && !strings.EqualFold(filepath.Ext(o.cutters), ".stl"):
				return refuse(fmt.Errorf("--cutters %s: cutters are written as STL; name a file that ends in .stl", o.cutters))
			}
			if _, err := parseLoad(o.load); err != nil {
				return refuse(err)
			}
			if err := o.pictures.check(); err != nil {
				return refuse(err)
			}
			if err := o.printer.early(); err != nil {
				return refuse(err)
			}
			return runSurvey(cmd.Context(), io, o)
		},
	}
	fs := cmd.Flags()
	fs.SortFlags = false
	fs.StringVar(&o.out, "out", "", "folder to write pictures to; made if it does not exist")
	fs.StringVar(&o.cutters, "cutters", "", "STL file to write what remedies take away to")
	fs.StringVar(&o.load, "load", "", "direction of the part's main load as x,y,z, for advice on strength")
	o.input.addTo(fs)
	o.printer.addTo(fs)
	fs.BoolVar(&o.json, "json", false, "print one JSON object instead of the table")
	fs.BoolVar(&o.force, "force", false, "replace files that an earlier run wrote")
	o.pictures.addTo(fs)
	return cmd
}

// surveyOutputs are the names of the pictures that survey draws of one part.
type surveyOutputs struct{ below, glass string }

func surveyOutputsOf(name string) surveyOutputs {
	return surveyOutputs{below: name + "-survey-below.png", glass: name + "-survey-glass.png"}
}

func (o surveyOutputs) all() []string { return []string{o.below, o.glass} }

// surveying is what one run has made so far, stage by stage.
type surveying struct {
	o        *surveyOptions
	name     string
	settings supports.Settings
	warnings []string
	seconds  surveySeconds

	part     *mesh.Mesh
	layers   *raster.Stack
	report   survey.Report
	pictures []file
	cutters  []file // one, or none where nothing is to be taken away
}

func runSurvey(ctx context.Context, io streams, o *surveyOptions) error {
	v := &surveying{o: o, name: stem(o.part)}
	p := newProgress(io.err, o.delay)
	defer p.close()
	pictures := output{option: "--out", dir: filepath.Clean(o.out), names: surveyOutputsOf(v.name).all(), force: o.force}
	cutters := output{option: "--cutters", dir: filepath.Dir(o.cutters), names: []string{filepath.Base(o.cutters)}, force: o.force}

	if err := work(ctx, p, v.stages(pictures, cutters)); err != nil {
		return err
	}
	p.enter("writing")
	start := time.Now()
	placeCutters := func() error {
		if o.cutters == "" {
			return nil
		}
		return cutters.place(v.cutters, nil)
	}
	var err error
	if o.out == "" {
		err = placeCutters()
	} else {
		err = pictures.place(v.pictures, placeCutters)
	}
	if err != nil {
		return err
	}
	v.seconds.Write += time.Since(start).Seconds()
	p.close()
	return v.tell(io)
}

// stages are the job up to the files in memory.
func (v *surveying) stages(pictures, cutters output) []stage {
	return []stage{
		{"reading the part", &v.seconds.Read, func() error {
			if err := v.read(); err != nil {
				return err
			}
			if v.o.out != "" {
				if err := pictures.check(v.o.part); err != nil {
					return err
				}
			}
			if v.o.cutters != "" {
				return cutters.check(v.o.part)
			}
			return nil
		}},
		{"cutting layers", &v.seconds.Cut, v.cut},
		{"finding what does not hold", &v.seconds.Survey, v.find},
		{"drawing and packing", &v.seconds.Write, v.pack},
	}
}

func (v *surveying) read() (err error) {
	if v.part, v.warnings, err = readPart(v.o.part, v.o.input); err != nil {
		return err
	}
	v.settings, err = v.o.printer.settings()
	return err
}

func (v *surveying) cut() (err error) {
	v.layers, err = cut(v.o.part, v.part, v.settings, 0)
	return err
}

func (v *surveying) find() error {
	load, err := parseLoad(v.o.load)
	v.report = survey.Survey(v.part, v.layers, v.settings, survey.Options{Load: load})
	return err
}

// parseLoad reads a direction as "x,y,z", not all zero. An empty text is none.
func parseLoad(text string) (r3.Vec, error) {
	if text == "" {
		return r3.Vec{}, nil
	}
	words := strings.Split(text, ",")
	var v [3]float64
	ok := len(words) == len(v)
	for i := 0; ok && i < len(v); i++ {
		var err error
		v[i], err = strconv.ParseFloat(strings.TrimSpace(words[i]), 64)
		ok = err == nil && math.Abs(v[i]) <= mostLoad
	}
	if !ok || v == [3]float64{} {
		return r3.Vec{}, fmt.Errorf("--load %q is no direction; give three numbers such as 0,0,-1", text)
	}
	return r3.Vec{X: v[0], Y: v[1], Z: v[2]}, nil
}

// mostLoad bounds the numbers of a direction, so that their squares stay finite.
const mostLoad = 1e6

// pack makes every file in memory.
func (v *surveying) pack() (err error) {
	if v.o.cutters != "" {
		if v.cutters, err = packCutters(v.name, filepath.Base(v.o.cutters), v.report); err != nil {
			return err
		}
	}
	if v.o.out != "" && !v.o.pictures.none {
		v.pictures, err = v.draw()
	}
	return err
}

// packCutters puts all cutters of a report into one STL file, none if there are
// none. Each stays a closed shell of its own.
func packCutters(part, name string, r survey.Report) ([]file, error) {
	all := &mesh.Mesh{}
	for _, f := range r.Findings {
		for _, re := range f.Remedies {
			if re.Cutter != nil {
				all.Append(re.Cutter)
			}
		}
	}
	if len(all.Triangles) == 0 {
		return nil, nil
	}
	all.Round32()
	var b bytes.Buffer
	if err := mesh.EncodeSTL(&b, all, part+", to subtract"); err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return []file{{name, b.Bytes()}}, nil
}
