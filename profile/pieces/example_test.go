package pieces_test

import (
	"fmt"
	"strings"
	"time"

	"calx/profile/pieces"
)

// Three test pieces, and what they say about the pod.
func Example() {
	twig := pieces.Kind{Material: "woody stem", Flask: "steel flask", Sprue: "open mouth"}
	pod := twig
	pod.Material = "seed pod"
	pulled := func(name string, k pieces.Kind, mm float64, s pieces.State, after time.Duration) pieces.Pull {
		return pieces.Pull{Piece: name, Kind: k, SectionM: mm / 1000, State: s, History: pieces.Soak(720, after)}
	}
	p, err := pieces.Fit(pieces.DefaultPrior(), []pieces.Pull{
		pulled("a", twig, 12, pieces.CharCore, 4*time.Hour),
		pulled("b", twig, 12, pieces.Ash, 6*time.Hour),
		pulled("c", pod, 9, pieces.Ash, 5*time.Hour),
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	goal := pieces.Goal{Part: pieces.Part{Kind: pod, SectionM: 0.011}, Chance: 0.95, TempC: 720}
	var tests []pieces.Test
	for h := 2 * time.Hour; h <= 8*time.Hour; h += time.Hour {
		tests = append(tests, pieces.Test{Kind: pod, SectionM: 0.011, History: pieces.Soak(720, h)})
	}
	text, err := p.Explain(goal, tests...)
	fmt.Println(strings.ReplaceAll(text, "; ", ";\n"), err)
	// Output:
	// your three pieces say 7 h 45 min (2 h 30 min to 13 h) at 720 °C for the 11 mm seed pod to be clear with 95 % certainty;
	// one more pull, 11 mm seed pod at 4 h, would narrow that range by about 18 %. It rests on three pieces, one of the same kind, and the burnout physics for an unknown mould. <nil>
}
