# make demo    measures the sample photos and leaves pictures and figures in bin/demo
# make man     writes the manual pages to bin/man
# make test    everything that has to pass; under ten minutes
# make lint    golangci-lint, built into bin/ at first use
# make fuzz    every fuzz target for FUZZTIME, 20 s each unless stated
# make corpus  thousands of damaged photos, memory over thousands of loads
# make bench   every benchmark once
# make speed   the time of every command and stage, writes testdata/speed.csv
# make sweep   the long sweeps over generated photos and studies, write testdata/sweep

GO ?= go
FUZZTIME ?= 20s
LINT_VERSION := v2.15.0
LINT := bin/golangci-lint-$(LINT_VERSION)

.PHONY: all setup build demo man test lint fuzz corpus bench speed sweep clean

all: build

setup:
	@.ci/setup

# pinlash hands over to pinlash-photo, which is all of it, where OpenCV is needed.
build: setup
	$(GO) build -o bin/pinlash-photo ./cmd/pinlash
	$(GO) build -tags front -o bin/pinlash ./cmd/pinlash

demo: build
	bin/pinlash demo bin/demo

man: build
	bin/pinlash man bin/man

test:
	@.ci/setup test
	$(GO) vet ./...
	$(GO) vet -tags front ./cmd/pinlash
	$(GO) test -timeout 9m ./...
	$(GO) test -timeout 5m -tags matprofile ./vision

lint: setup $(LINT)
	$(LINT) run ./...

$(LINT):
	GOBIN=$(CURDIR)/bin $(GO) install github.com/golangci/golangci-lint/v2/cmd/golangci-lint@$(LINT_VERSION)
	mv bin/golangci-lint $(LINT)

fuzz: setup
	@GO=$(GO) .ci/fuzz $(FUZZTIME)

corpus: setup
	$(GO) test -timeout 20m -count 1 -run DamagedPhotos -v ./cmd/pinlash/internal/cli -damage 1
	$(GO) test -timeout 20m -count 1 -run 'NoGrowth|NoMat' -v -tags matprofile ./vision -sweep 1

bench: setup
	$(GO) test -run '^$$' -bench . -benchmem ./...

speed: setup
	$(GO) test -timeout 30m -count 1 -run SpeedTable -v ./vision -speed 5

sweep: setup
	$(GO) test -timeout 60m -count 1 -run Sweep -v ./vision -sweep 100
	$(GO) test -timeout 60m -count 1 -run HarshPhotos -v ./cmd/pinlash/internal/cli -harsh 15
	$(GO) test -timeout 30m -count 1 -run Sweep -v ./measure/compare -sweep 4000

clean:
	rm -rf bin
