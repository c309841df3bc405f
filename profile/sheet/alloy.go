package sheet

import (
	"fmt"
	"slices"
	"strings"
)

// Alloy is what may be poured. Densities are at 20 °C, kg/m³; the range is of
// lists or compositions that differ.
type Alloy struct {
	Name       string   `json:"name"`
	Also       []string `json:"also,omitempty"` // other names, UNS numbers among them
	LowKgM3    float64  `json:"low_kg_m3"`
	HighKgM3   float64  `json:"high_kg_m3"` // metal is weighed out by this one
	Solidus    Span     `json:"solidus"`
	Liquidus   Span     `json:"liquidus"`
	Pour       Span     `json:"pour"`                 // of the metal
	PourHeavy  *Span    `json:"pour_heavy,omitempty"` // for heavy sections, where lists tell them apart
	Source     Source   `json:"source"`               // of density, solidus and liquidus
	PourSource Source   `json:"pour_source"`          //
	Family     Family   `json:"family"`
	Lead       bool     `json:"lead,omitempty"` // holds lead: fume
	Zinc       bool     `json:"zinc,omitempty"` // much zinc, which boils at 907 °C: fume
}

// Family is a row of the table of flask temperatures.
type Family string

// The families.
const (
	Bronze    Family = "bronze"
	Brass     Family = "brass"
	Silver    Family = "silver"
	Gold      Family = "14k gold"
	Aluminium Family = "aluminium"
	Pewter    Family = "pewter"
)

func at(c float64) Span { return Span{c, c} }

var (
	practice = Source{Mark: Practice}
	cda      = Source{Memory, "Copper Development Association alloy data"}
	asm      = Source{Memory, "ASM Handbook, vol. 2"}
)

// alloys is the table, in the order it is shown.
var alloys = []Alloy{
	{Name: "silicon bronze", Also: []string{"C87300", "C87200", "C873", "C872"}, LowKgM3: 8360, HighKgM3: 8360, Solidus: Span{821, 860}, Liquidus: at(971), Pour: Span{1040, 1150},
		Source: Source{Read, "alloy datasheets: 0.302 lb/in3; 1510 or 1580, and 1780 F"}, PourSource: practice, Family: Bronze},
	{Name: "silicon brass", Also: []string{"C87500"}, LowKgM3: 8280, HighKgM3: 8280, Solidus: at(821), Liquidus: at(917), Pour: Span{1040, 1095}, PourHeavy: &Span{980, 1040},
		Source: Source{Read, "foundry alloy page: 0.299 lb/in3; 1510 to 1683 F"}, PourSource: Source{Read, "foundry alloy page: 1900 to 2000 F light, 1800 to 1900 F heavy"}, Family: Brass, Zinc: true},
	{Name: "tin bronze C90300", Also: []string{"C90300"}, LowKgM3: 8800, HighKgM3: 8800, Solidus: at(854), Liquidus: at(1000), Pour: Span{1100, 1230}, Source: cda, PourSource: cda, Family: Bronze},
	{Name: "tin bronze C90700", Also: []string{"C90700"}, LowKgM3: 8770, HighKgM3: 8770, Solidus: at(831), Liquidus: at(999), Pour: Span{1050, 1200}, Source: cda, PourSource: cda, Family: Bronze},
	{Name: "red brass", Also: []string{"C83600", "leaded red brass"}, LowKgM3: 8830, HighKgM3: 8830, Solidus: at(854), Liquidus: at(1010), Pour: Span{1090, 1230}, Source: cda, PourSource: cda, Family: Brass, Lead: true, Zinc: true},
	{Name: "yellow brass", Also: []string{"C85700", "leaded yellow brass"}, LowKgM3: 8410, HighKgM3: 8410, Solidus: at(913), Liquidus: at(941), Pour: Span{1010, 1095}, Source: cda, PourSource: cda, Family: Brass, Lead: true, Zinc: true},
	{Name: "sterling silver", Also: []string{"sterling"}, LowKgM3: 10360, HighKgM3: 10360, Solidus: Span{779, 802}, Liquidus: at(893), Pour: Span{950, 1010}, Source: asm, PourSource: practice, Family: Silver},
	{Name: "fine silver", LowKgM3: 10490, HighKgM3: 10490, Solidus: at(961.78), Liquidus: at(961.78), Pour: Span{1010, 1060}, Source: Source{Memory, "freezing point of silver, ITS-90; density ASM Handbook, vol. 2"}, PourSource: practice, Family: Silver},
	{Name: "14k yellow gold", Also: []string{"14k", "14k gold"}, LowKgM3: 13000, HighKgM3: 13600, Solidus: Span{800, 850}, Liquidus: Span{830, 900}, Pour: Span{930, 1030}, Source: Source{Memory, "depends on the composition: ask the refiner"}, PourSource: practice, Family: Gold},
	{Name: "aluminium A356", Also: []string{"A356", "aluminum A356"}, LowKgM3: 2680, HighKgM3: 2680, Solidus: at(557), Liquidus: at(615), Pour: Span{680, 760}, Source: asm, PourSource: practice, Family: Aluminium},
	{Name: "aluminium 319", Also: []string{"319", "aluminum 319"}, LowKgM3: 2790, HighKgM3: 2790, Solidus: at(516), Liquidus: at(604), Pour: Span{680, 760}, Source: asm, PourSource: practice, Family: Aluminium},
	{Name: "aluminium A413", Also: []string{"A413", "aluminum A413"}, LowKgM3: 2660, HighKgM3: 2660, Solidus: at(574), Liquidus: at(582), Pour: Span{660, 740}, Source: asm, PourSource: practice, Family: Aluminium},
	{Name: "pewter", LowKgM3: 7280, HighKgM3: 7280, Solidus: at(244), Liquidus: at(295), Pour: Span{315, 350}, Source: Source{Memory, "ASM Handbook, vol. 2; ASTM B560 class"}, PourSource: practice, Family: Pewter},
}

// Alloys is the table of what may be poured; the caller owns it.
func Alloys() []Alloy { return slices.Clone(alloys) }

// FindAlloy finds an alloy by its name, another name or its UNS number, in any
// case, or by part of the name where only one has it. The error lists what
// there is.
func FindAlloy(name string) (Alloy, error) {
	want := strings.ToLower(strings.Join(strings.Fields(name), " "))
	var part []Alloy
	for _, a := range alloys {
		for _, n := range append([]string{a.Name}, a.Also...) {
			if strings.EqualFold(n, want) {
				return a, nil
			}
		}
		if want != "" && strings.Contains(strings.ToLower(a.Name), want) {
			part = append(part, a)
		}
	}
	if len(part) == 1 {
		return part[0], nil
	}
	if len(part) > 1 {
		return Alloy{}, fmt.Errorf("%q may be %s; say which", name, strings.Join(names(part), " or "))
	}
	return Alloy{}, fmt.Errorf("%q is not a metal of the table; there are %s", name, strings.Join(names(alloys), ", "))
}

func names(list []Alloy) (out []string) {
	for _, a := range list {
		out = append(out, a.Name)
	}
	return out
}
