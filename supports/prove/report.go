package prove

import (
	"encoding/json"

	"falsework/raster"

	"gonum.org/v1/gonum/spatial/r3"
)

// Verdict is the outcome of a proof.
type Verdict string

const (
	Holds Verdict = "holds"
	Fails Verdict = "fails"
)

// Kind says what a reason is about.
type Kind string

// Kinds of harm, the worst first: reasons are sorted in this order.
const (
	PartUnheld    Kind = "part-unheld"    // the part hangs in mid-air
	SupportUnheld Kind = "support-unheld" // a support does
	Collision     Kind = "collision"      // part and support claim one place
	Blocked       Kind = "blocked"        // a body has no straight way out
	Fused         Kind = "fused"          // printed onto the part across no void
	SideFused     Kind = "side-fused"     // printed against a wall of the part
	WrongVoid     Kind = "void"           // the gap is wrong at a height that binds
	SideNear      Kind = "side-near"      // nearer to a wall than the clearance: a note
	Sways         Kind = "sways"          // a support bends too far: a note, unless Steadiness binds
	LetsGo        Kind = "lets-go"        // a foot may come off the plate: likewise
	NoRoom        Kind = "no-room"        // neither pliers nor a blade get at a body: a note
	Thin          Kind = "thin"           // too thin to print, and left out of the proof: a note
	Tips          Kind = "tips"           // out of balance: a note
	Pierced       Kind = "pierced"        // a sheet closes an opening and is to be pierced: a note
	Held          Kind = "held"           // breaking it off takes more than a hand
	Marginal      Kind = "marginal"       // on a ledge past the limit, but less than a line out: a note
	InPieces      Kind = "in-pieces"      // it does not come off whole, but in pieces: a note
)

// Report is what a proof found. Areas are in plan view unless said, places are
// mm from the origin with the plate at z = 0.
type Report struct {
	Verdict Verdict `json:"verdict"`

	// What no rule holds, bridges laid in the direction in force.
	UnheldMM2        float64 `json:"unheld_mm2"` // of part and supports
	PartUnheldMM2    float64 `json:"part_unheld_mm2"`
	SupportUnheldMM2 float64 `json:"support_unheld_mm2"`
	// UnheldBestDirectionMM2 is what no rule would hold if every patch were
	// bridged the way that suits it best.
	UnheldBestDirectionMM2 float64 `json:"unheld_best_direction_mm2"`
	// MarginalMM2 lies on ledges between the limit and one line: told, not failed.
	MarginalMM2 float64 `json:"marginal_mm2"`

	// CollisionsMM3 is where part and supports overlap, declared fused contacts
	// left out.
	CollisionsMM3 float64 `json:"collisions_mm3"`
	// FusedMM2 is contact across no void although the settings ask for one.
	FusedMM2 float64 `json:"fused_mm2"`
	// ClearanceMM2 is the side of support walls nearer to a wall of the part than
	// half the clearance, upright area.
	ClearanceMM2 float64 `json:"clearance_mm2"`

	ContactMM2 float64 `json:"contact_mm2"` // of the part, over a support's top
	PlateMM2   float64 `json:"plate_mm2"`   // of supports, on the plate
	LandingMM2 float64 `json:"landing_mm2"` // of supports, standing on the part

	// Sheets and steps, printed onto the part on purpose, are no bodies of supports.
	Sheets     []Sheet `json:"sheets"`
	PiercedMM2 float64 `json:"pierced_mm2"` // of them, to be pierced after printing

	Bodies        []Body `json:"bodies"`         // in order of their lowest cell
	BlockedBodies int    `json:"blocked_bodies"` // with no way out as a whole
	LockedBodies  int    `json:"locked_bodies"`  // that do not come off whole nor in pieces

	PartLayers    int `json:"part_layers"`
	SupportLayers int `json:"support_layers"`

	Reasons []Reason `json:"reasons"` // why it fails, the most harmful first
	Notes   []Reason `json:"notes"`   // what is told without failing

	// For pictures: cells of one layer each, on Grid.
	Grid             raster.Grid `json:"-"`
	UnheldSpots      []Spot      `json:"-"` // of the part
	SupportSpots     []Spot      `json:"-"` // unheld cells of the supports
	Contacts         []Spot      `json:"-"` // of the part, over a support's top
	Bridges          []Spot      `json:"-"` // of the part, held across the air alone
	CollisionSpots   []Spot      `json:"-"`
	FusedSpots       []Spot      `json:"-"`
	SideTouchedSpots []Spot      `json:"-"` // cells of supports too near a wall

	layers raster.Layers
	scars  []scar
}

// Spot is a set of cells of one layer.
type Spot struct {
	K     int     // layer
	Z     float64 // height of the layer's underside, mm
	Cells raster.Bits
}

// Body is one connected piece of the supports, as printed.
type Body struct {
	ID         int     `json:"id"` // 1, 2, …
	Bounds     r3.Box  `json:"-"`  // bounds_mm in JSON: [[x, y, z], [x, y, z]]
	VolumeMM3  float64 `json:"volume_mm3"`
	ContactMM2 float64 `json:"contact_mm2"` // of the part over this body
	LandingMM2 float64 `json:"landing_mm2"` // standing on the part
	PlateMM2   float64 `json:"plate_mm2"`
	WaysOut    []Way   `json:"ways_out"` // free straight ways
	Blocked    bool    `json:"blocked"`  // none is free

	// The worst at any layer as printed so far.
	SwayMM  float64 `json:"sway_mm"`  // give to the nozzle's drag
	FootMPa float64 `json:"foot_mpa"` // tension under a foot on the plate, by that drag
	PushN   float64 `json:"push_n"`   // straight down, that it buckles under, at least
	// TipMM is how far its centre of mass comes outside what it stands on.
	TipMM float64 `json:"tip_mm,omitempty"`

	// Printed onto the part, and the force to break all of that at once, pulled
	// straight and bent at its far end. What sticks across a void is unknown and
	// not in it.
	BondMM2 float64 `json:"bond_mm2"`
	PullN   float64 `json:"pull_n"`
	SnapN   float64 `json:"snap_n"`

	// Pieces that it comes off in, in order, where it does not come off whole.
	Pieces []Piece `json:"pieces,omitempty"`

	// Touches are the faces of the part that it touches, the most first: see Faces.
	Touches []Touch `json:"touches,omitempty"`
	// Room is where a tool gets at it, none if it does nowhere.
	Room *Room `json:"room,omitempty"`
}

// Way is a straight way out: "down", "up", degrees from +X towards +Y, or such an
// azimuth and how far it rises or falls, as "90° and 15° up".
type Way string

// Reason is one thing that is wrong at one place.
type Reason struct {
	Kind   Kind    `json:"kind"`
	Text   string  `json:"text"`   // one sentence with the place
	At     r3.Vec  `json:"-"`      // at_mm in JSON: [x, y, z]
	LayerZ float64 `json:"z_mm"`   // underside of the lowest layer concerned
	Remedy string  `json:"remedy"` // what the designer can do
	Body   int     `json:"body,omitempty"`
	ID     string  `json:"id,omitempty"` // of the structure nearest to it: see Name

	AreaMM2   float64 `json:"area_mm2,omitempty"`
	VolumeMM3 float64 `json:"volume_mm3,omitempty"`
}

func list(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

// MarshalJSON adds the place as a list.
func (r Reason) MarshalJSON() ([]byte, error) {
	type plain Reason
	return json.Marshal(struct {
		plain
		At [3]float64 `json:"at_mm"`
	}{plain(r), list(r.At)})
}

// MarshalJSON adds the place and the bounds as lists.
func (h Sheet) MarshalJSON() ([]byte, error) {
	type plain Sheet
	return json.Marshal(struct {
		plain
		At     [3]float64    `json:"at_mm"`
		Bounds [2][3]float64 `json:"bounds_mm"`
	}{plain(h), list(h.At), [2][3]float64{list(h.Bounds.Min), list(h.Bounds.Max)}})
}

// MarshalJSON adds the bounds as two lists.
func (b Body) MarshalJSON() ([]byte, error) {
	type plain Body
	return json.Marshal(struct {
		plain
		Bounds [2][3]float64 `json:"bounds_mm"`
	}{plain(b), [2][3]float64{list(b.Bounds.Min), list(b.Bounds.Max)}})
}

// MarshalJSON adds the bounds as two lists.
func (q Piece) MarshalJSON() ([]byte, error) {
	type plain Piece
	return json.Marshal(struct {
		plain
		Bounds [2][3]float64 `json:"bounds_mm"`
	}{plain(q), [2][3]float64{list(q.Bounds.Min), list(q.Bounds.Max)}})
}

// MarshalJSON adds normal and place as lists.
func (q Touch) MarshalJSON() ([]byte, error) {
	type plain Touch
	return json.Marshal(struct {
		plain
		Normal [3]float64 `json:"normal"`
		At     [3]float64 `json:"at_mm"`
	}{plain(q), list(q.Normal), list(q.At)})
}

// MarshalJSON adds the place as a list.
func (q Room) MarshalJSON() ([]byte, error) {
	type plain Room
	return json.Marshal(struct {
		plain
		At [3]float64 `json:"at_mm"`
	}{plain(q), list(q.At)})
}

// MarshalJSON adds the place as a list.
func (n Neck) MarshalJSON() ([]byte, error) {
	type plain Neck
	return json.Marshal(struct {
		plain
		At [3]float64 `json:"at_mm"`
	}{plain(n), list(n.At)})
}
