# calx: what to run. `make` lists the targets.

# Tools, fetched by the go command through the module proxy and never part of
# calx itself: they are not in go.mod.
STATICCHECK = honnef.co/go/tools/cmd/staticcheck@v0.8.2
GOVULNCHECK = v1.9.0
# The Go vulnerability reports as of a day; `make vuln VULNDB=latest` for today's.
VULNDB      = v0.0.0-20261105234957-e22db6528018

# Programs that some tests talk to, as program=Debian-package.
PROGRAMS = promtool=prometheus prometheus=prometheus

EMULATORS = qemu-arm-static=qemu-user-static qemu-aarch64-static=qemu-user-static
BOARD_ROOMS = ./controller/... ./sensor/... ./profile ./sim/quantity ./sim/kiln ./storage/record
FUSED_ROOMS = ./controller/guard ./controller/law ./controller/twin ./sensor/... ./sim/kiln ./storage/record

# Rooms where more than one goroutine may run. The others start none, which
# rules_test.go holds them to, so the race detector has nothing to find there.
RACE_ROOMS = ./cmd/calx ./cmd/calx/board ./cmd/calx/outbox ./cmd/calx/plug ./cmd/calx/station ./cmd/calx/web ./controller ./sensor ./storage ./sim/bench ./sim/chip

# Computers that calx is built for: GOOS/GOARCH, GOARM behind a comma.
# linux/arm,6 is the oldest board with the 40-pin header.
TARGETS = linux/arm64 linux/arm,6 darwin/arm64

FUZZTIME = 5s
CUTS     = 20
N        = 1000
TABLE    = fault-table.txt
GOFLAGS_TEST =
VERSION  = $(shell git describe --tags --always --dirty 2>/dev/null || echo development)

.PHONY: help build test fmt fmt-check vet staticcheck lint vuln race fuzz configs bench boards modules cross control-table fit-table fault-table healthy-nights kills cuts-table rig demo clean

help:
	@echo 'make build          the program, ./calx'
	@echo 'make demo           a whole firing on a simulated kiln'
	@echo 'make test           fetch what the tests need and lack, run all tests'
	@echo 'make fmt            format the code'
	@echo 'make lint           gofmt, vet, staticcheck'
	@echo 'make vuln           known vulnerabilities in what calx calls'
	@echo 'make race           the tests again under the race detector'
	@echo 'make fuzz           every fuzz target, FUZZTIME=$(FUZZTIME) each; 10m for a night'
	@echo 'make configs        a thousand random configurations: refused in words, or fired'
	@echo 'make boards         the pure rooms, on emulated 32- and 64-bit boards'
	@echo 'make cross          vet and build for every board and laptop'
	@echo 'make modules        go.mod and go.sum are true and tidy'
	@echo 'make bench          all benchmarks, once each'
	@echo 'make control-table  control quality: kiln x profile'
	@echo 'make fit-table      fitted kilns foretelling firings, figures against the truth'
	@echo 'make fault-table    what can go wrong: fault x stage x kiln, to TABLE=$(TABLE)'
	@echo 'make healthy-nights false trips in N=$(N) nights in which nothing is wrong'
	@echo 'make kills          what may happen to either process, and when the heat is off'
	@echo 'make cuts-table     power cuts: stage x length x kiln, and what becomes of the firing'
	@echo 'make rig            the same on a real kernel, and CUTS=$(CUTS) power cuts; root'

build:
	CGO_ENABLED=0 go build -trimpath -ldflags '-X main.version=$(VERSION)' -o calx ./cmd/calx

test:
	@tools=$$(.ci/need $(PROGRAMS)) && PATH="$${tools:+$$tools:}$$PATH" go test $(GOFLAGS_TEST) ./...

fmt:
	gofmt -l -w .

fmt-check:
	@bad=$$(gofmt -l .); if [ -n "$$bad" ]; then echo "not formatted; run make fmt:"; echo "$$bad"; exit 1; fi

vet:
	go vet ./...

staticcheck:
	go run $(STATICCHECK) ./...

lint: fmt-check vet staticcheck

vuln:
	.ci/vuln $(GOVULNCHECK) $(VULNDB)

race:
	@tools=$$(.ci/need $(PROGRAMS)) && PATH="$${tools:+$$tools:}$$PATH" go test -race -short $(RACE_ROOMS)

# The processors of the boards, emulated: 32-bit integers, and, where it is all
# arithmetic, an arm64 that fuses multiplication and addition. Rooms that talk to
# no file, pin or socket.
boards:
	@tools=$$(.ci/need $(EMULATORS)) && export PATH="$${tools:+$$tools:}$$PATH" CGO_ENABLED=0 && \
	if command -v qemu-arm-static >/dev/null; then \
		echo "boards: arm"; \
		GOOS=linux GOARCH=arm GOARM=6 go test -short -exec qemu-arm-static $(BOARD_ROOMS) || exit 1; fi; \
	if command -v qemu-aarch64-static >/dev/null; then \
		echo "boards: arm64"; \
		GOOS=linux GOARCH=arm64 go test -short -exec qemu-aarch64-static $(FUSED_ROOMS) || exit 1; fi

fuzz:
	.ci/fuzz $(FUZZTIME)

configs:
	CALX_CONFIGS=1000 go test -run '^TestRandomConfigurations$$' -v ./cmd/calx | grep -a -e '^ok' -e '^FAIL' -e '--- FAIL' -e 'configurations:'

# Vetted where something differs from the computer that runs `make vet`: integers
# of 32 bits, another system.
cross:
	@set -e; comma=,; for t in $(TARGETS); do \
		os=$${t%%/*}; rest=$${t#*/}; arch=$${rest%%$$comma*}; arm=; \
		case $$rest in *$$comma*) arm=$${rest#*$$comma};; esac; \
		echo "cross: $$os $$arch $$arm"; \
		export CGO_ENABLED=0 GOOS=$$os GOARCH=$$arch GOARM=$$arm; \
		[ $$t = linux/arm64 ] || go vet ./...; \
		go build -o /dev/null ./cmd/calx; \
	done

modules:
	go mod verify
	go mod tidy -diff

bench:
	go test -run '^$$' -bench . -benchtime 1x ./...

control-table:
	go test -run '^$$' -bench '^BenchmarkControl' -benchtime 1x ./sim/bench

fit-table:
	CALX_FIT_TABLE=1 go test -v -timeout 30m -run '^Test(Fit|StandardErrors)' ./controller/identify

# Power cuts in every stage on four kilns: decision, loss, extra time, and what
# the way back does to the mould. Five minutes on one core.
cuts-table:
	CALX_CUTS=all go test -timeout 1h -run '^TestCuts$$' -v ./controller

# Every fault in every stage on four kilns, and what of it is not as it must be;
# the table goes to TABLE. Some minutes.
fault-table:
	CALX_FAULT_TABLE=$(abspath $(TABLE)) go test -count 1 -timeout 2h -run TestFaultMatrix ./sim/bench; status=$$?; cat $(TABLE); exit $$status

# Nights in which nothing is wrong: how many does a guard end?
healthy-nights:
	CALX_NIGHTS=$(N) go test -count 1 -timeout 4h -run TestHealthyNights ./sim/bench

# What may happen to either process, as emulated lines see it: all of it.
kills:
	CALX_KILLS=1 go test -v -count 1 -run TestKillTable ./cmd/calx/plug

# The same and more on a real kernel, then power cuts on it. Not part of .ci/run:
# it wants root, twenty minutes, and a computer that is quiet.
rig:
	deploy/rig/rig.sh
	deploy/rig/rig.sh -cuts $(CUTS)

demo:
	go run ./cmd/calx demo

clean:
	rm -f calx
