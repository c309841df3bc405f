package quantity

import "math"

// dimension ties a Go type to its table of units.
type dimension interface{ kind() *kind }

// unit is one spelling group. A value read in the unit is
// (value + offset) · mul / div in the fixed unit of its kind; mul and div are
// apart because 90/1000 rounds to the float64 nearest 0.09 and 90·0.001 may
// not.
type unit struct {
	names    []string // the first is written, all are read
	mul, div float64
	offset   float64
	display  bool // used when writing
}

func (u unit) toFixed(v float64) float64   { return (v + u.offset) * u.mul / u.div }
func (u unit) fromFixed(v float64) float64 { return v*u.div/u.mul - u.offset }

func (u unit) suffix() string {
	switch u.names[0] {
	case "":
		return ""
	case "%":
		return " %"
	}
	return " " + u.names[0]
}

// kind is one dimension: its words, its units (the fixed one first) and the
// least value that can exist.
type kind struct {
	name     string // with its article left off: "length"
	article  string
	examples []string
	units    []unit
	least    float64 // in the fixed unit
	most     float64
	compound bool // "2 h 30 min" is allowed
}

// fixed is the unit a kind is held in; shown and read are further units.
func fixed(names ...string) unit { return unit{names: names, mul: 1, div: 1, display: true} }
func shown(mul, div float64, names ...string) unit {
	return unit{names: names, mul: mul, div: div, display: true}
}
func read(mul, div float64, names ...string) unit { return unit{names: names, mul: mul, div: div} }

func anyOf(name, article string, examples []string, least float64, units ...unit) *kind {
	return &kind{name: name, article: article, examples: examples, units: units, least: least, most: math.Inf(1)}
}

// Conversion factors that are exact by definition: the inch is 25.4 mm, the
// avoirdupois pound 0.45359237 kg (international yard and pound, 1959), the
// US gallon 231 cubic inches; BTU is the International Table value (ISO 31-4).
const (
	inchM     = 0.0254
	poundKg   = 0.45359237
	gallonM3  = 231 * inchM * inchM * inchM
	btuJ      = 1055.05585262
	absZeroC  = -273.15
	fahrZeroF = -32
	hourS     = 3600
	minuteS   = 60
)

var (
	negative = math.Inf(-1)

	lengthKind = anyOf("length", "a", []string{"90 mm", "3 1/2 in"}, 0,
		fixed("m"), shown(1, 1000, "mm"), read(1, 100, "cm"), read(1, 1e6, "um", "µm"),
		read(inchM, 1, "in", `"`, "inch", "inches"), read(12*inchM, 1, "ft", "foot", "feet"))
	areaKind = anyOf("area", "an", []string{"300 cm2", "0.03 m2"}, 0,
		fixed("m2"), shown(1, 1e4, "cm2"), shown(1, 1e6, "mm2"),
		read(inchM*inchM, 1, "in2", "sq in"), read(144*inchM*inchM, 1, "ft2", "sq ft"))
	volumeKind = anyOf("volume", "a", []string{"60 L", "2 ft3"}, 0,
		fixed("m3"), shown(1, 1000, "L", "l", "litre", "liter", "dm3"), shown(1, 1e6, "mL", "ml", "cm3"),
		read(inchM*inchM*inchM, 1, "in3", "cu in"), read(1728*inchM*inchM*inchM, 1, "ft3", "cu ft"),
		read(gallonM3, 1, "gal"))
	massKind = anyOf("mass", "a", []string{"1.2 kg", "450 g", "2 lb"}, 0,
		fixed("kg"), shown(1, 1000, "g"), read(1, 1e6, "mg"), read(poundKg, 1, "lb", "lbs"),
		read(poundKg, 16, "oz"))
	powerKind = anyOf("power", "a", []string{"2.4 kW", "1500 W"}, 0,
		fixed("W"), shown(1000, 1, "kW"), read(1e6, 1, "MW"), read(btuJ, hourS, "BTU/h"))
	energyKind = anyOf("energy", "an", []string{"12 kWh", "3.6 MJ"}, 0,
		fixed("J"), shown(1000, 1, "kJ"), shown(1e6, 1, "MJ"), shown(3.6e6, 1, "kWh"),
		read(3600, 1, "Wh"), read(btuJ, 1, "BTU"))
	temperatureKind = anyOf("temperature", "a", []string{"735 C", "1350 F"}, absZeroC,
		fixed("C", "°C", "degC"), unit{names: []string{"F", "°F", "degF"}, mul: 5, div: 9, offset: fahrZeroF},
		unit{names: []string{"K"}, mul: 1, div: 1, offset: absZeroC})
	differenceKind = anyOf("temperature difference", "a", []string{"5 C", "9 F"}, negative,
		fixed("C", "°C", "degC", "K"), read(5, 9, "F", "°F", "degF"))
	rateKind = anyOf("heating rate", "a", []string{"100 C/h", "3 F/min"}, negative,
		fixed("C/h", "°C/h", "degC/h", "K/h"), read(minuteS, 1, "C/min", "°C/min", "degC/min", "K/min"),
		read(hourS, 1, "C/s", "°C/s", "degC/s", "K/s"),
		read(5, 9, "F/h", "°F/h", "degF/h"), read(5*minuteS, 9, "F/min", "°F/min", "degF/min"))
	durationKind = anyOf("duration", "a", []string{"2 h 30 min", "10 s"}, 0,
		fixed("s", "sec"), shown(1, 1000, "ms"), shown(minuteS, 1, "min"),
		shown(hourS, 1, "h", "hr", "hour", "hours"), shown(24*hourS, 1, "d", "day", "days"))
	frequencyKind = anyOf("frequency", "a", []string{"3 /h", "4 Hz"}, 0,
		fixed("Hz", "/s", "1/s"), shown(1, minuteS, "/min", "1/min"), shown(1, hourS, "/h", "1/h"))
	voltageKind    = anyOf("voltage", "a", []string{"120 V"}, 0, fixed("V"), shown(1, 1000, "mV"), read(1000, 1, "kV"))
	resistanceKind = anyOf("resistance", "a", []string{"11.5 ohm"}, 0,
		fixed("ohm", "Ω", "Ω"), shown(1000, 1, "kohm", "kΩ"), read(1, 1000, "mohm", "mΩ"))
	currentKind  = anyOf("current", "a", []string{"12.5 A"}, 0, fixed("A"), shown(1, 1000, "mA"))
	fractionKind = &kind{name: "fraction", article: "a", examples: []string{"85 %", "0.85"}, least: 0, most: 1,
		units: []unit{fixed(""), shown(1, 100, "%", "percent")}}
	ratioKind        = anyOf("ratio", "a", []string{"112 %", "1.12"}, 0, fixed(""), shown(1, 100, "%", "percent"))
	conductivityKind = anyOf("thermal conductivity", "a", []string{"0.25 W/m/K"}, 0,
		fixed("W/m/K", "W/mK", "W/(m K)"))
	densityKind  = anyOf("density", "a", []string{"800 kg/m3"}, 0, fixed("kg/m3"), shown(1000, 1, "g/cm3", "kg/L"), read(poundKg, 1728*inchM*inchM*inchM, "lb/ft3"))
	specificKind = anyOf("specific heat capacity", "a", []string{"1050 J/kg/K"}, 0,
		fixed("J/kg/K", "J/kgK", "J/(kg K)"), shown(1000, 1, "kJ/kg/K", "kJ/kgK", "kJ/(kg K)"))
	specificEnergyKind = anyOf("energy per mass", "an", []string{"2257 kJ/kg"}, 0,
		fixed("J/kg"), shown(1000, 1, "kJ/kg"), shown(1e6, 1, "MJ/kg"))
	transferKind = anyOf("heat transfer coefficient", "a", []string{"10 W/m2/K"}, 0,
		fixed("W/m2/K", "W/m2K", "W/(m2 K)"))
	conductanceKind = anyOf("thermal conductance", "a", []string{"1.5 W/K"}, 0, fixed("W/K"))
	contactKind     = anyOf("thermal contact resistance", "a", []string{"0.001 m2K/W"}, 0, fixed("m2K/W", "m2 K/W"))
)

func init() {
	lengthKind.compound = true
	durationKind.compound = true
	massKind.compound = true
}

type (
	length         struct{}
	area           struct{}
	volume         struct{}
	mass           struct{}
	power          struct{}
	energy         struct{}
	temperature    struct{}
	difference     struct{}
	rate           struct{}
	duration       struct{}
	frequency      struct{}
	voltage        struct{}
	resistance     struct{}
	current        struct{}
	fraction       struct{}
	ratio          struct{}
	conductivity   struct{}
	density        struct{}
	specific       struct{}
	specificEnergy struct{}
	transfer       struct{}
	conductance    struct{}
	contact        struct{}
)

func (length) kind() *kind         { return lengthKind }
func (area) kind() *kind           { return areaKind }
func (volume) kind() *kind         { return volumeKind }
func (mass) kind() *kind           { return massKind }
func (power) kind() *kind          { return powerKind }
func (energy) kind() *kind         { return energyKind }
func (temperature) kind() *kind    { return temperatureKind }
func (difference) kind() *kind     { return differenceKind }
func (rate) kind() *kind           { return rateKind }
func (duration) kind() *kind       { return durationKind }
func (frequency) kind() *kind      { return frequencyKind }
func (voltage) kind() *kind        { return voltageKind }
func (resistance) kind() *kind     { return resistanceKind }
func (current) kind() *kind        { return currentKind }
func (fraction) kind() *kind       { return fractionKind }
func (ratio) kind() *kind          { return ratioKind }
func (conductivity) kind() *kind   { return conductivityKind }
func (density) kind() *kind        { return densityKind }
func (specific) kind() *kind       { return specificKind }
func (specificEnergy) kind() *kind { return specificEnergyKind }
func (transfer) kind() *kind       { return transferKind }
func (conductance) kind() *kind    { return conductanceKind }
func (contact) kind() *kind        { return contactKind }

// The quantities. Each is a float64 in the unit named here.
type (
	// Length is in m, never negative: 90 mm, 9 cm, 3 1/2 in, 1 ft 2 in.
	Length = Of[length]
	// Area is in m², never negative: 300 cm2, 0.03 m2.
	Area = Of[area]
	// Volume is in m³, never negative: 60 L, 450 mL, 2 ft3.
	Volume = Of[volume]
	// Mass is in kg, never negative: 1.2 kg, 450 g, 2 lb 4 oz.
	Mass = Of[mass]
	// Power is in W, never negative: 2.4 kW, 1500 W.
	Power = Of[power]
	// Energy is in J, never negative: 12 kWh, 3.6 MJ.
	Energy = Of[energy]
	// Temperature is in °C, never below absolute zero: 735 C, 1350 F.
	Temperature = Of[temperature]
	// TemperatureDifference is in °C (the size of a kelvin), either sign: 9 F
	// is 5 C.
	TemperatureDifference = Of[difference]
	// Rate is a heating rate in °C/h, either sign: 100 C/h, 3 F/min.
	Rate = Of[rate]
	// Duration is in s, never negative: 2 h 30 min, 10 s. [Std] converts it.
	Duration = Of[duration]
	// Frequency is in 1/s, never negative: 3 /h, 4 Hz.
	Frequency = Of[frequency]
	// Voltage is in V, never negative; of mains, the root mean square: 120 V.
	Voltage = Of[voltage]
	// Resistance is electrical, in ohm, never negative: 11.5 ohm.
	Resistance = Of[resistance]
	// Current is in A, never negative; of mains, the root mean square: 12.5 A.
	Current = Of[current]
	// Fraction is 0 to 1: 85 % or 0.85.
	Fraction = Of[fraction]
	// Ratio is 0 or more, 1 for equal: 112 % or 1.12.
	Ratio = Of[ratio]
	// Conductivity is thermal, in W/m/K, never negative: 0.25 W/m/K.
	Conductivity = Of[conductivity]
	// Density is in kg/m³, never negative: 800 kg/m3, 0.8 g/cm3.
	Density = Of[density]
	// HeatCapacity is per mass, in J/kg/K, never negative: 1050 J/kg/K.
	HeatCapacity = Of[specific]
	// SpecificEnergy is in J/kg, never negative: 2257 kJ/kg.
	SpecificEnergy = Of[specificEnergy]
	// HeatTransfer is a surface coefficient in W/m²/K, never negative:
	// 10 W/m2/K.
	HeatTransfer = Of[transfer]
	// Conductance is thermal, in W/K, never negative: 1.5 W/K.
	Conductance = Of[conductance]
	// ContactResistance is thermal, in m²·K/W, never negative: 0.001 m2K/W.
	ContactResistance = Of[contact]
)
