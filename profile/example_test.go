package profile_test

import (
	"fmt"
	"time"

	"calx/profile"
)

func ExampleParse() {
	_, err := profile.Parse(`never above 735 C
heat to 150 at 60 C/h
hold untill dry
heat to 800 C at 75 C/h`)
	fmt.Println(err)
	// Output:
	// line 2, column 9: read "150": is that C or F? write 150 C or 150 F
	// line 3, column 6: read "untill": did you mean "until"? does not fit here; write "hold 2 h", "hold until 14:00", or "hold until" with "dry", "core within 15 C", "clear 95%", "stopped" or "door opens" and then ", at most 3 h"
	// line 4, column 9: read "800 C": is above your ceiling of 735 C; write 735 C or lower, or raise "never above"
}

func ExampleUnroll() {
	p, err := profile.Parse("heat to 150 C at 60 C/h\nhold 2 h\nheat to 720 C at 200 C/h\n")
	if err != nil {
		fmt.Println(err)
		return
	}
	tl := profile.Unroll(p, profile.Outlook{
		StartC:        30,
		FullRateCPerH: func(tC float64) float64 { return 800 - tC },
	})
	c, step, _ := tl.At(90 * time.Minute)
	fmt.Printf("after 1 h 30 min: %.0f °C, step %d %q\n", c, step+1, p.Sentence(step))
	fmt.Printf("%.1f h as written, %.1f h on this kiln\n", tl.Total.Hours(), tl.Expected.Hours())
	for _, problem := range tl.Problems {
		fmt.Println(problem)
	}
	// Output:
	// after 1 h 30 min: 120 °C, step 1 "heat to 150 C at 60 C/h"
	// 6.8 h as written, 7.2 h on this kiln
	// line 3: 200 C/h is more than this kiln can do above 600 C; the plan will wait and take about 19 min longer
}
