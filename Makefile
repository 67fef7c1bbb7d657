# What a developer types; .ci/run types the same. `make help` lists it.

CARGO ?= cargo

help:        ## list the targets
	@grep -E '^[a-z-]+: .*##|^[a-z-]+:  *##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 14

test:        ## all tests and every example in the docs
	$(CARGO) test --workspace --locked

lint:        ## clippy, warnings as errors
	$(CARGO) clippy --workspace --all-targets --all-features --locked -- -D warnings

format:      ## check the formatting
	$(CARGO) fmt --all --check

docs:        ## build the docs, warnings as errors
	RUSTDOCFLAGS="-D warnings" $(CARGO) doc --workspace --no-deps --locked

package:     ## check that the published crates pack and build
	$(CARGO) package --locked --allow-dirty -p siltcode-tables -p siltcode -p siltcode-cli

prove:       ## try every single-precision float against the table
	$(CARGO) test --release --locked -p siltcode-tests --test prove -- --ignored

bench:       ## run the benches
	$(CARGO) bench --locked -p siltcode-benches

bench-smoke: ## run each bench once, to see that it runs
	$(CARGO) bench --locked -p siltcode-benches -- --test

.PHONY: help test lint format docs package prove bench bench-smoke
