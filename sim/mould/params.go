package mould

import "calx/sim/quantity"

// Params describes one kind of mould, as its YAML file holds it: a flask, what
// it is filled with, and the patterns in it. The zero value is no mould; [Load]
// returns a checked one. Ranges are in [Load]'s errors and in [Schema].
type Params struct {
	Name string `yaml:"name" jsonschema_description:"short name in small letters, digits and hyphens"`
	// About is for people only.
	About string `yaml:"about,omitempty" jsonschema_description:"one sentence on the mould, for people"`
	// Count is how many equal ones stand in the kiln; 0 means 1.
	Count int   `yaml:"count,omitempty" jsonschema:"minimum=1,maximum=200" jsonschema_description:"how many equal moulds stand in the kiln; 1 if left out"`
	Flask Flask `yaml:"flask"`
	// Investment may be left out for the usual mix, 40 parts of water.
	Investment Investment `yaml:"investment,omitempty"`
	// Sprue may be left out: a test plug has none.
	Sprue Sprue `yaml:"sprue,omitempty"`
	// Patterns may be empty: a mould of wax already steamed out, or washed out.
	Patterns []Pattern `yaml:"patterns,omitempty" jsonschema:"maxItems=24" jsonschema_description:"the pieces that must burn"`
	// Materials are the founder's own, beside those calx knows.
	Materials []Material `yaml:"materials,omitempty" jsonschema:"maxItems=24" jsonschema_description:"materials of your own that the patterns may name"`
	// Access multiplies how well oxygen comes through the wall; 1 is the
	// uncalibrated model. It is the one figure to fit to test pieces.
	Access *float64 `yaml:"access,omitempty" jsonschema:"minimum=0.02,maximum=50" jsonschema_description:"multiplies the oxygen that comes through the wall; 1 if left out"`
	// Wet is the share of the free mixing water still in the mould at the
	// start: 1 freshly set, less after days on a warm shelf.
	Wet *quantity.Fraction `yaml:"wet,omitempty" jsonschema_description:"share of the free mixing water still in the mould at the start; 100 % if left out"`
}

// The kinds of sleeve, and of what the flask stands on.
const (
	SleeveSteel      = "steel"
	SleeveNone       = "none"
	SleevePerforated = "perforated"

	OnShelf = "shelf"
	OnGrate = "grate"
)

// Flask is the cylinder, axis upright.
type Flask struct {
	// Diameter is that of the investment: inside the sleeve, if there is one.
	Diameter quantity.Length `yaml:"diameter" jsonschema_description:"diameter of the investment, inside the sleeve"`
	Height   quantity.Length `yaml:"height" jsonschema_description:"height of the investment"`
	// Sleeve lets oxygen in at the ends only (steel), or everywhere.
	Sleeve string `yaml:"sleeve" jsonschema:"enum=steel,enum=none,enum=perforated" jsonschema_description:"steel is a closed tube, open above and below; perforated has holes all over; none is a bare block"`
	// Stands tells whether air reaches the lower end of a sleeved flask.
	Stands string `yaml:"stands" jsonschema:"enum=shelf,enum=grate" jsonschema_description:"on a flat shelf that closes the lower end, or on a grate or posts that leave it open"`
	// Wall is the thickness of the sleeve; 0 means 2 mm.
	Wall quantity.Length `yaml:"wall,omitempty" jsonschema_description:"thickness of the sleeve; 2 mm if left out"`
}

// Investment is the set mass around the pattern. All fields may be left out;
// the plain constants replace the built-in tables, so that the model can be
// held against measurements and analytic solutions.
type Investment struct {
	// Water is the water/powder ratio by mass.
	Water *quantity.Fraction `yaml:"water,omitempty" jsonschema_description:"water/powder ratio by mass; 40 % if left out"`
	// Binder is the share of calcium sulfate hemihydrate in the powder.
	Binder *quantity.Fraction `yaml:"binder,omitempty" jsonschema_description:"share of calcium sulfate hemihydrate in the powder; 28 % if left out, 100 % for plaster"`
	// FreeWater replaces the free water that follows from Water.
	FreeWater *quantity.Density `yaml:"free_water,omitempty" jsonschema_description:"free water per volume of fresh mould, instead of what follows from the ratio"`
	// Density is that of the fully dehydrated solids.
	Density *quantity.Density `yaml:"density,omitempty" jsonschema_description:"bulk density of the fully dehydrated mould"`
	// Conductivity is that of the dry mould, at all temperatures.
	Conductivity *quantity.Conductivity `yaml:"conductivity,omitempty" jsonschema_description:"thermal conductivity of the dry mould, instead of the table"`
	// WetConductivity is what full free water adds.
	WetConductivity *quantity.Conductivity `yaml:"wet_conductivity,omitempty" jsonschema_description:"what all the free water adds to the conductivity; 0.55 W/m/K if left out"`
	// HeatCapacity is that of the dehydrated solids, at all temperatures.
	HeatCapacity *quantity.HeatCapacity `yaml:"heat_capacity,omitempty" jsonschema_description:"specific heat capacity of the dehydrated solids, instead of the table"`
	// Convection and Emissivity make the film between kiln and mould.
	Convection *quantity.HeatTransfer `yaml:"convection,omitempty" jsonschema_description:"convection between kiln air and mould; 8 W/m2/K if left out"`
	Emissivity *quantity.Fraction     `yaml:"emissivity,omitempty" jsonschema_description:"emissivity of mould and sleeve; 0.85 if left out"`
	// Base is how well the lower face takes up heat, against a free face.
	Base *quantity.Fraction `yaml:"base,omitempty" jsonschema_description:"film at the lower face over that at the others; 50 % if left out"`
	// PoreRadius and Tortuosity of the fired mould govern the oxygen in it.
	PoreRadius *quantity.Length `yaml:"pore_radius,omitempty" jsonschema_description:"pore radius of the fired mould; 1 um if left out"`
	Tortuosity *float64         `yaml:"tortuosity,omitempty" jsonschema:"minimum=1,maximum=20" jsonschema_description:"how much longer than straight the way through the pores is, squared; 3 if left out"`
}

// Sprue is the channel from the mouth to the pattern.
type Sprue struct {
	Diameter quantity.Length `yaml:"diameter,omitempty" jsonschema_description:"diameter of the sprue; the narrowest place counts"`
	Length   quantity.Length `yaml:"length,omitempty" jsonschema_description:"length of the sprue from the mouth to the pattern"`
	// Open is false for none, or one blocked by wax, wire or the shelf.
	Open bool `yaml:"open" jsonschema_description:"true if air reaches the pattern through the sprue"`
}

// The shapes a pattern may have.
const (
	ShapeStem  = "stem"
	ShapeBall  = "ball"
	ShapeSheet = "sheet"
)

// Pattern is one piece that must burn.
type Pattern struct {
	// Material is the name of one of [Materials] or of the file's own.
	Material string `yaml:"material" jsonschema_description:"what it is made of"`
	Shape    string `yaml:"shape" jsonschema:"enum=stem,enum=ball,enum=sheet" jsonschema_description:"stem: a round rod; ball: about as thick each way; sheet: a leaf, flat"`
	// Section is the thickest place: the diameter of a stem or a ball, the
	// thickness of a sheet.
	Section quantity.Length `yaml:"section" jsonschema_description:"its thickest part: diameter of a stem or ball, thickness of a sheet"`
	// Length of a stem, or the side of a square sheet of the same area; a ball
	// needs none.
	Length quantity.Length `yaml:"length,omitempty" jsonschema_description:"length of a stem; side of a square of the same area for a sheet; a ball needs none"`
	// Mass, oven-dry; without it density times volume.
	Mass *quantity.Mass `yaml:"mass,omitempty" jsonschema_description:"dry mass of the piece, weighed; density times volume if left out"`
	// Moisture over dry mass; without it the usual of the material.
	Moisture *Moisture `yaml:"moisture,omitempty" jsonschema_description:"water over dry mass, 12 % for air-dry wood, up to 200 % for a green stem; the usual of the material if left out"`
	// AboveBase is the height of the middle of the piece over the lower face;
	// 0 means in the middle.
	AboveBase quantity.Length `yaml:"above_base,omitempty" jsonschema_description:"height of its middle over the lower face of the flask; the middle of the flask if left out"`
	// Count of equal pieces that hang on the one sprue; 0 means 1.
	Count int `yaml:"count,omitempty" jsonschema:"minimum=1,maximum=500" jsonschema_description:"how many equal pieces share the one sprue; 1 if left out"`
}

// KilnAir tells how fresh the air around the moulds is.
type KilnAir struct {
	VolumeM3 float64 // of the chamber's free air, m³
	// ChangesPerH counts chamber volumes of room air, measured at room
	// temperature, that come in per hour; ChangesOnPerH while the fresh-air
	// relay is on.
	ChangesPerH, ChangesOnPerH float64
	RoomC                      float64 // temperature of the room, °C
}

// DefaultKilnAir is a 60 L chamber with 3 changes an hour, 20 with the air
// relay on, in a room at 20 °C. The changes are guesses; measure yours with
// smoke or an oxygen cell.
var DefaultKilnAir = KilnAir{VolumeM3: 0.060, ChangesPerH: 3, ChangesOnPerH: 20, RoomC: 20}

// Grid is how finely a flask is divided.
type Grid struct{ Rings, Layers int }

// DefaultGrid is the grid of every shipped figure; see the package comment for
// its error.
var DefaultGrid = Grid{Rings: 16, Layers: 24}

// Env is what surrounds the moulds.
type Env struct {
	Air KilnAir
	// Grid of the zero value means [DefaultGrid].
	Grid Grid
}

func orElse[Q ~float64](p *Q, usual float64) float64 {
	if p == nil {
		return usual
	}
	return float64(*p)
}
