# What a developer types; .ci/run types the same. `make help` lists it.

CARGO ?= cargo
TARGET  ?= $(or $(CARGO_TARGET_DIR),$(CURDIR)/target)
RELEASE  = $(TARGET)/release

help:        ## list the targets
	@grep -E '^[a-z-]+: .*##|^[a-z-]+:  *##' $(MAKEFILE_LIST) | sed 's/:.*##/\t/' | expand -t 14

test:        ## all tests and every example in the docs, Rust and Python
	$(CARGO) test --workspace --locked
	$(MAKE) python

lint:        ## clippy, warnings as errors
	$(CARGO) clippy --workspace --all-targets --all-features --locked -- -D warnings

format:      ## check the formatting
	$(CARGO) fmt --all --check

docs:        ## build the docs, warnings as errors
	RUSTDOCFLAGS="-D warnings" $(CARGO) doc --workspace --no-deps --locked

# Cargo keeps what it unpacked and built of a packed crate by its version, and would check against that of an earlier run.
PUBLISHED = -p siltcode-tables -p siltcode -p siltcode-cli
UNPACKED  = $(or $(CARGO_HOME),$(HOME)/.cargo)/registry/src/-*

package:     ## check that the published crates pack and build
	rm -rf $(addprefix $(UNPACKED)/,siltcode-tables-* siltcode-[0-9]*)
	$(CARGO) clean --quiet --profile dev $(PUBLISHED)
	$(CARGO) package --locked --allow-dirty $(PUBLISHED)

prove:       ## try every single-precision float against the table
	$(CARGO) test --release --locked -p siltcode-tests --test prove -- --ignored

explore: python-wheel ## try the properties of both languages with twenty times the cases, others each time
	SILTCODE_EXPLORE=20 $(CARGO) test --locked --no-fail-fast -p siltcode-tests
	SILTCODE_EXPLORE=20 $(PYTEST) tests/python

study:       ## run a study, e.g. make study NAME=progress JOBS=2000; without a name, list them; CELLS='runs=3 cv=0.02' names cells
	$(CARGO) run --release --locked -p siltcode-tests --example study -- $(NAME) $(JOBS) $(CELLS)

# Fuzzing needs the nightly toolchain; the tool is installed below the target folder. What a target finds stays in
# fuzz/corpus, which is not kept; fuzz/seeds and the inputs of other tests are what it begins with.
TOOLS    = $(TARGET)/tools
FUZZ     = PATH="$(TOOLS)/bin:$$PATH" nice $(CARGO) +nightly fuzz
FUZZED   = text workbook spec job codes units
SECONDS ?= 60
BEGIN_text     = tests/intake
BEGIN_workbook = fuzz/seeds/workbook
BEGIN_spec     = reference-tables/specs
BEGIN_job      = demo-samples
BEGIN_codes    = fuzz/seeds/codes
BEGIN_units    = fuzz/seeds/units

$(TOOLS)/bin/cargo-fuzz:
	$(CARGO) install --quiet --locked --root $(TOOLS) --version 0.13.2 cargo-fuzz

fuzz: $(TOOLS)/bin/cargo-fuzz $(addprefix fuzz-,$(FUZZED)) ## a minute of each fuzz target (SECONDS=60), on the nightly toolchain

fuzz-%: $(TOOLS)/bin/cargo-fuzz
	mkdir -p fuzz/corpus/$*
	$(FUZZ) run --sanitizer none --target-dir $(TARGET)/fuzz $* fuzz/corpus/$* $(BEGIN_$*) -- \
		-max_total_time=$(SECONDS) -timeout=5 -rss_limit_mb=1024 -max_len=65536 -print_final_stats=1 -verbosity=0

# The peers in Python have an environment of their own.
PEERS = $(TARGET)/peers

$(PEERS)/made: benches/peers/requirements.txt
	python3 -m venv $(PEERS)
	$(PEERS)/bin/pip install --quiet --requirement $<
	touch $@

bench: $(PEERS)/made ## run the benches, and ours beside peers in Python
	$(CARGO) bench --locked -p siltcode-benches
	$(CARGO) build --release --locked -p siltcode-benches --bin ours
	$(CARGO) build --release --locked -p siltcode-cli
	$(PEERS)/bin/python benches/peers/run.py $(RELEASE)/ours $(RELEASE)/siltcode $(PEERS)/arrays

instructions: $(PEERS)/made ## count the instructions that a value takes (needs valgrind)
	$(CARGO) build --release --locked -p siltcode-benches --bin ours
	$(PEERS)/bin/python benches/peers/instructions.py $(RELEASE)/ours $(PEERS)/few

bench-smoke: ## run each bench once, to see that it runs
	$(CARGO) bench --locked -p siltcode-benches -- --test

# The Python package, as a user gets it: a wheel, installed into an environment of its own. The wheel is of the dev
# profile: it shares the crates that the Rust tests have built, and checks for overflow.

VENV    ?= $(TARGET)/python
PYTHON   = $(VENV)/bin/python
PROJECT  = python/pyproject.toml
PROFILE ?= dev
WHEELS   = $(VENV)/wheels
ROWS    ?= 1e7
PYTEST   = $(PYTHON) -m pytest -q -c $(PROJECT) --rootdir .

python: python-wheel python-test python-types python-elsewhere ## all checks of the Python package
	$(PYTHON) python/benches/memory.py 1e5
	$(PYTHON) python/benches/speed.py 1e5

$(VENV)/made: $(PROJECT)
	python3 -m venv $(VENV)
	$(PYTHON) -m pip install -q uv
	$(PYTHON) -m uv pip install -q --group $(PROJECT):test -r $(PROJECT) --extra all --no-sources
	touch $@

python-wheel: $(VENV)/made ## build the wheel and install it
	rm -f $(WHEELS)/siltcode-*
	cd python && $(PYTHON) -m maturin build --locked --profile $(PROFILE) --interpreter $(PYTHON) --out $(WHEELS)
	$(PYTHON) -m uv pip install -q --reinstall --no-deps $(WHEELS)/siltcode-*.whl

python-test: ## the tests of the installed package and every example in its docs
	$(PYTEST) tests/python
	$(PYTEST) --doctest-modules --pyargs siltcode

python-types: ## the stub against the module, mypy and pyright
	cd $(TARGET) && $(PYTHON) -m mypy.stubtest siltcode._native --mypy-config-file $(CURDIR)/$(PROJECT)
	cd $(TARGET) && $(PYTHON) -m mypy --config-file $(CURDIR)/$(PROJECT) -p siltcode
	$(PYTHON) -m pyright --pythonpath $(PYTHON) -p $(PROJECT)

python-elsewhere: ## the wheel on every Python there is, the source archive away from the repository
	cd python && $(PYTHON) -m maturin sdist --out $(WHEELS)
	CARGO_TARGET_DIR=$(TARGET) python/elsewhere.sh $(WHEELS)/siltcode-*.whl $(WHEELS)/siltcode-*.tar.gz

python-bench: ## speed and memory of ten million rows, with a release wheel in an environment of its own
	$(MAKE) python-wheel PROFILE=release VENV=$(TARGET)/python-release
	$(TARGET)/python-release/bin/python python/benches/speed.py $(ROWS)
	$(TARGET)/python-release/bin/python python/benches/memory.py $(ROWS)

.PHONY: help test lint format docs package prove explore study fuzz bench instructions bench-smoke python python-wheel python-test python-types python-elsewhere python-bench
