package main

import (
	"os"
	"strings"
	"time"
)

// houseZone is the time zone of this machine by its name, so that the log says
// which it was. Where it has no name it is the local one as it is.
func houseZone() *time.Location {
	name := time.Local.String()
	if name == "Local" {
		link, err := os.Readlink("/etc/localtime")
		if err != nil {
			return time.Local
		}
		_, name, _ = strings.Cut(link, "zoneinfo/")
	}
	z, err := time.LoadLocation(name)
	if err != nil || name == "" {
		return time.Local
	}
	return z
}
