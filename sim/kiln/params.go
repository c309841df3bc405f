package kiln

import "calx/sim/quantity"

// maxLayers bounds the wall; no kiln of the trade has more.
const maxLayers = 6

// Params describes one kiln, as its YAML file holds it. The zero value is no
// kiln; [Load] returns a checked one. Every field says what it is; ranges are
// in [Load]'s errors and in the published [Schema].
type Params struct {
	Name     string               `yaml:"name" jsonschema_description:"short name in small letters, digits and hyphens"`
	About    string               `yaml:"about,omitempty" jsonschema_description:"one sentence on the kiln, for people"`
	Max      quantity.Temperature `yaml:"max" jsonschema_description:"highest chamber temperature the maker allows"`
	Chamber  Chamber              `yaml:"chamber"`
	Walls    []Layer              `yaml:"walls" jsonschema_description:"wall layers from the hot face outwards, the same on all six sides" jsonschema:"minItems=1,maxItems=6"`
	Shell    Shell                `yaml:"shell"`
	Elements Elements             `yaml:"elements"`
	Air      Air                  `yaml:"air"`
	Door     Door                 `yaml:"door"`
	Load     Contents             `yaml:"load"`
	Probe    Probe                `yaml:"probe"`
	Relay    Relay                `yaml:"relay"`
	Fitted   *Fitted              `yaml:"fitted,omitempty" jsonschema_description:"where the figures come from, when they were fitted to recorded firings"`
}

// Fitted tells how a kiln file came from recorded firings.
type Fitted struct {
	When     string                         `yaml:"when" jsonschema_description:"day of the fit, as 2026-01-31"`
	Firings  []string                       `yaml:"firings" jsonschema_description:"the firings it was fitted to"`
	Residual quantity.TemperatureDifference `yaml:"residual" jsonschema_description:"root mean square of measured less modelled chamber temperature"`
	// Doubt is the standard error of the heat that the model says a firing
	// needs, as a share of it.
	Doubt quantity.Fraction `yaml:"doubt" jsonschema_description:"standard error of the heat a firing needs, as a share of it"`
}

// Chamber is the box inside, between the hot faces. A round chamber is given
// as the box of the same volume and height.
type Chamber struct {
	Width  quantity.Length `yaml:"width" jsonschema_description:"inside width"`
	Depth  quantity.Length `yaml:"depth" jsonschema_description:"inside depth"`
	Height quantity.Length `yaml:"height" jsonschema_description:"inside height"`
	// Emissivity of the hot face, 0.3 to 1.
	Emissivity quantity.Fraction `yaml:"emissivity" jsonschema_description:"emissivity of the hot face; 0.4 to 0.6 for white fibre when hot, 0.6 to 0.9 for brick"`
	// Convection between gas and walls and gas and load: free convection in a
	// small hot box, 5 to 15 W/m²/K.
	Convection quantity.HeatTransfer `yaml:"convection" jsonschema_description:"heat transfer between gas and walls or load; free convection gives 5 to 15 W/m2/K, a fan more"`
}

// Layer is one layer of the wall. Either Material names a known material, or
// all three constants are given.
type Layer struct {
	Material     string                 `yaml:"material,omitempty" jsonschema_description:"one of the known materials"`
	Thickness    quantity.Length        `yaml:"thickness" jsonschema_description:"thickness of this layer"`
	Conductivity *quantity.Conductivity `yaml:"conductivity,omitempty" jsonschema_description:"instead of material: constant thermal conductivity"`
	Density      *quantity.Density      `yaml:"density,omitempty" jsonschema_description:"instead of material: bulk density"`
	HeatCapacity *quantity.HeatCapacity `yaml:"heat_capacity,omitempty" jsonschema_description:"instead of material: constant specific heat capacity"`
	// Conducts and Holds multiply the conductivity and the heat capacity that
	// the layer would have otherwise; nil is 1.
	Conducts *quantity.Ratio `yaml:"conducts,omitempty" jsonschema_description:"conductivity of this layer over that of its material"`
	// ConductsHot takes the place of Conducts at 1000 °C and above; between 20
	// °C and there the ratio changes evenly. Nil is Conducts throughout. How
	// steeply conductivity rises differs between makers, and with age.
	ConductsHot *quantity.Ratio `yaml:"conducts_hot,omitempty" jsonschema_description:"as conducts, at 1000 C and above; evenly less or more on the way there"`
	Holds       *quantity.Ratio `yaml:"holds,omitempty" jsonschema_description:"heat capacity of this layer over that of its material"`
}

// Shell is the outer case, and what leads heat past the lining to the room.
type Shell struct {
	Mass       quantity.Mass     `yaml:"mass" jsonschema_description:"mass of the steel case"`
	Emissivity quantity.Fraction `yaml:"emissivity" jsonschema_description:"emissivity of the case outside; 0.9 painted, 0.2 to 0.4 bright stainless steel"`
	// Bridges is the conductance from the hot face straight to the room:
	// door seam, element tails, anchors. A quarter to a half of the loss of a
	// small kiln goes this way (common practice, no source).
	Bridges quantity.Conductance `yaml:"bridges,omitempty" jsonschema_description:"conductance past the lining: door seam, element tails, anchors"`
}

// Elements are the heating wires. Rated power, supply voltage, alloy and wire
// diameter fix resistance, length, mass and surface of the wire.
type Elements struct {
	Alloy    string           `yaml:"alloy" jsonschema:"enum=FeCrAl,enum=NiCr" jsonschema_description:"iron-chromium-aluminium or nickel-chromium"`
	Supply   quantity.Voltage `yaml:"supply" jsonschema_description:"nominal mains voltage"`
	Rated    quantity.Power   `yaml:"rated" jsonschema_description:"power on the nameplate, new elements at working temperature"`
	Wire     quantity.Length  `yaml:"wire" jsonschema_description:"diameter of the wire"`
	Circuits int              `yaml:"circuits" jsonschema:"minimum=1,maximum=24" jsonschema_description:"equal elements in parallel on the supply"`
	// Emissivity of the oxidised wire, about 0.7.
	Emissivity quantity.Fraction `yaml:"emissivity" jsonschema_description:"emissivity of the oxidised wire, about 0.7"`
	// Exposed is the share of the wire's surface that radiates into the
	// chamber: 0.3 to 0.4 for a close coil in a groove, up to 0.9 for a free
	// wire.
	Exposed quantity.Fraction `yaml:"exposed" jsonschema_description:"share of the wire surface that radiates into the chamber; 0.3 in a deep groove to 0.9 on free rods"`
	// Ageing is how much the resistance has grown since new; elements are
	// usually replaced at 10 to 15 %.
	Ageing quantity.Fraction `yaml:"ageing,omitempty" jsonschema_description:"growth of resistance since new; 0 is new, 10 to 15 % is worn out"`
	// New is the day on which this set was fitted; "" is not known. No figure of
	// the model depends on it, nor on the same of probe and relay.
	New string `yaml:"new,omitempty" jsonschema_description:"day on which this set was fitted, as 2026-01-31; their wear is counted from then"`
}

// Air is the gas exchanged with the room through gaps and openings.
type Air struct {
	// Leakage counts chamber volumes of room air drawn in per hour by the
	// chimney effect when the chamber is at 700 °C and the room at 20 °C.
	Leakage quantity.Frequency `yaml:"leakage" jsonschema_description:"chamber volumes of room air per hour through gaps and vents, at 700 C"`
	// Vent is added while the fresh-air relay is on, at any temperature.
	Vent quantity.Frequency `yaml:"vent,omitempty" jsonschema_description:"further chamber volumes of room air per hour while the fresh-air relay is on"`
	// Opening is what always stands open and radiates: spy hole, vent.
	Opening quantity.Area `yaml:"opening,omitempty" jsonschema_description:"area of spy hole and vents that always radiates out"`
}

// Door is the opening when the door or lid stands fully open.
type Door struct {
	Width  quantity.Length `yaml:"width" jsonschema_description:"clear width of the open door"`
	Height quantity.Length `yaml:"height" jsonschema_description:"clear height of the open door; for a lid, its depth"`
}

// Contents is what stands in the chamber, furniture and flasks together, as a
// surface and a core.
type Contents struct {
	Mass         quantity.Mass         `yaml:"mass" jsonschema_description:"mass of shelves, posts and flasks"`
	HeatCapacity quantity.HeatCapacity `yaml:"heat_capacity" jsonschema_description:"mean specific heat capacity of the load"`
	Area         quantity.Area         `yaml:"area" jsonschema_description:"surface of the load that sees the chamber"`
	Emissivity   quantity.Fraction     `yaml:"emissivity" jsonschema_description:"emissivity of the load"`
	Core         quantity.Fraction     `yaml:"core" jsonschema_description:"share of the mass that lies deep inside"`
	Inside       quantity.Conductance  `yaml:"inside" jsonschema_description:"conductance between surface and core of the load"`
}

// Probe is the control thermocouple: a closed sheath that stands in the
// chamber, its junction at the tip.
type Probe struct {
	Type      string          `yaml:"type" jsonschema:"enum=B,enum=E,enum=J,enum=K,enum=N,enum=R,enum=S,enum=T" jsonschema_description:"letter type of the thermocouple"`
	Sheath    quantity.Length `yaml:"sheath" jsonschema_description:"outside diameter of the sheath"`
	Immersion quantity.Length `yaml:"immersion" jsonschema_description:"length of the sheath inside the chamber"`
	// Emissivity of the oxidised sheath, 0.7 to 0.9.
	Emissivity quantity.Fraction `yaml:"emissivity" jsonschema_description:"emissivity of the sheath; 0.8 to 0.9 oxidised metal, 0.4 to 0.6 ceramic"`
	// InnerLag is the time constant from sheath to junction; it hardly changes
	// with temperature. Zero means the junction is welded to the sheath.
	InnerLag quantity.Duration `yaml:"inner_lag,omitempty" jsonschema_description:"time constant from the sheath to the junction inside it"`
	New      string            `yaml:"new,omitempty" jsonschema_description:"day on which this thermocouple was fitted, as 2026-01-31; its drift is counted from then"`
}

// The kinds of relay a kiln file may name.
const (
	SSR       = "ssr"
	Contactor = "contactor"
)

// Relay is what switches the elements. The kiln model does not switch: these
// are the limits for whoever does.
type Relay struct {
	Kind string `yaml:"kind" jsonschema:"enum=ssr,enum=contactor" jsonschema_description:"ssr is a solid-state relay, contactor has moving contacts"`
	// RatedCycles is the electrical life in operations at rated load.
	RatedCycles int               `yaml:"rated_cycles" jsonschema:"minimum=1000" jsonschema_description:"electrical life in operations at rated load"`
	LeastOn     quantity.Duration `yaml:"least_on" jsonschema_description:"shortest time on"`
	LeastOff    quantity.Duration `yaml:"least_off" jsonschema_description:"shortest time off"`
	// MostCycles per hour that the relay's life is planned for; zero means no
	// limit.
	MostCycles quantity.Frequency `yaml:"most_cycles,omitempty" jsonschema_description:"most switching cycles per hour; leave out for no limit"`
	New        string             `yaml:"new,omitempty" jsonschema_description:"day on which this relay was fitted, as 2026-01-31; its cycles are counted from then"`
}
