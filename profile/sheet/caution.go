package sheet

// cautions is what can hurt, worst first. a is nil where no metal was named.
func cautions(a *Alloy) []Caution {
	out := []Caution{
		{"Never pour into a damp mould", "Water under metal flashes to some 1,600 times its volume of steam and throws the metal. Pour only into a mould that was taken above 150 C (300 F), held there until dry, and has not cooled down or been wetted since."},
		{"Dry tools, dry floor", "Warm ladles, ingots and skimmers before they touch the melt; pour over dry sand, never over bare concrete or a wet floor."},
		{"Cover yourself", "Face shield over safety glasses, leather gloves, apron and spats, natural fibres, closed boots without laces. Nobody alone, nobody else within reach of a spill, the way out clear."},
		{"Silica dust", "Investment powder holds crystalline silica, which scars the lungs for good. Wear a fitted particle respirator when weighing, mixing and breaking out; clean up wet, never with a brush."},
		{"Fumes of the burnout and the pour", "Extraction or outdoors, and a carbon monoxide alarm with its own power. Over 730 C (1350 F) gypsum and char give sulfur dioxide."},
	}
	if a != nil && a.Lead {
		out = append(out, Caution{"Lead fume", "This alloy holds lead: its fume and dross poison slowly and unseen. Extraction at the melt, a respirator for metal fume, no food, wash before eating, keep the clothes away from home; or choose an alloy without lead."})
	}
	if a != nil && a.Zinc {
		out = append(out, Caution{"Zinc fume", "Zinc boils at 907 C (1665 F), below or near the pouring temperature: white smoke, fever hours later. Extraction, no overheating, do not breathe it."})
	}
	return append(out, Caution{"Local rules go first", "This sheet gives figures of the trade, not permission. The sheets of your powder, metal and kiln, your fire service and your workplace rules go before it. Calx is not a safety device."})
}
