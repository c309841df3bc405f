package warden_test

import (
	"fmt"
	"time"

	"calx/controller/warden"
)

// A controller that asks for heat at 1 s and is never heard of again.
func Example() {
	law, err := warden.New(warden.DefaultLease)
	if err != nil {
		fmt.Println(err)
		return
	}
	ask := warden.Message{Kind: warden.Lease, Seq: 1, Issued: time.Second, Heat: true, Main: true}
	out := law.Update(time.Second, ask)
	fmt.Println(1*time.Second, out.Heat, out.Why)
	for _, now := range []time.Duration{2 * time.Second, 3 * time.Second} {
		out = law.Update(now, warden.Message{})
		fmt.Println(now, out.Heat, out.Why)
	}
	// Output:
	// 1s true lease fresh
	// 2s true lease fresh
	// 3s false lease not renewed in time
}
