package plan

import "testing"

func BenchmarkMake(b *testing.B) {
	for _, c := range cases {
		b.Run(c.mould, func(b *testing.B) {
			in := shipped(b, c.mould, c.kiln)
			for b.Loop() {
				if _, err := Make(in); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkHelps(b *testing.B) {
	in := woody(b)
	p := made(b, in)
	for b.Loop() {
		Helps(in, p, nil)
	}
}
