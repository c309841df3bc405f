package profile

import (
	"embed"
	"fmt"
	"strings"
)

//go:embed profiles/*.txt
var shipped embed.FS

const (
	shippedDir = "profiles"
	shippedExt = ".txt"
)

// Shipped names the example profiles that come with calx, sorted.
func Shipped() []string {
	entries, err := shipped.ReadDir(shippedDir)
	if err != nil {
		panic("BUG: the embedded profiles are missing: " + err.Error())
	}
	names := make([]string, len(entries))
	for i, e := range entries {
		names[i] = strings.TrimSuffix(e.Name(), shippedExt)
	}
	return names
}

// ShippedText is the text of an example profile. An unknown name is an error
// that lists the known ones.
func ShippedText(name string) (string, error) {
	text, err := shipped.ReadFile(shippedDir + "/" + name + shippedExt)
	if err != nil {
		return "", fmt.Errorf("no shipped profile %q; there are %s", clip(name), strings.Join(Shipped(), ", "))
	}
	return string(text), nil
}
