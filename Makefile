# Everything is done through these few targets, at home and in CI alike.
#
#   make demo               an invented shop's night, in one process
#   make demo SPEED=1       the same as slow as life
#   make test               sets up what the tests need, and passes them
#   make wheel-check        builds the packages and tries them outside the checkout
#   make api-check          asks the interface for programs thousands of odd questions
#   make simulate N=1000    plays the whole service through nights in which everything fails
#   make simulate NIGHT=17  plays one of them and tells its story
#   make truth WEEKS=100    plays weeks of the service against the fish's true temperature
#   make planted            puts mistakes into a copy of it: do those weeks find them?
#   make bench              measures, prints a table, writes build/benchmarks.json
#   make bench BENCH_ARGS=--quick      the same with little work, in a few minutes
#   make docs               the documentation as pages, in build/docs
#   make pictures           plays the demo and takes the pictures in docs/pictures
#   make reference          writes docs/reference from the code
#   make crash TIMES=300    kills the service so often while a broker feeds it; looks what is lost
#   make spoil TIMES=100    overwrites places of a journal's file; which look at it finds them?
#   make standstill         holds the service by SIGSTOP for HELD_S=75 seconds; what is caught up?
#   make soak               a month at speed and ten minutes of real load: does anything grow?
#   make audit              what a shop installs, listed and looked up for known faults
#   make lock               pins anew what is installed, with hashes (lock/)
#   make bounds             the quick tests with the oldest versions allowed, and with the newest
#   make fuzz SECONDS=600   fuzzes each edge so long by coverage, from tests/fuzz/corpus on
#   make coverage           which lines and branches of the pure core no test of it runs
#   make mutants PACKAGE=rules   puts mistakes into it, and counts those that no test notices
#   make check              lint, format, types, import contracts

SPEED ?= 1800
SCENARIO ?= night-at-saltmarsh-row
PYTHON ?= python3
TESTS ?= tests
BENCH_ARGS ?=
EXAMPLES ?= 1000
DAYS ?= 30
MINUTES ?= 10
TIMES ?= 300
HELD_S ?= 75
SEED ?= 1
PACKAGE ?= rules
SAMPLE ?= 200
AUDIT_ARGS ?=
N ?= 1000
FIRST ?= 0
JOBS ?= 2
PYTEST_ARGS ?=
SECONDS ?= 600

VENV := .venv
BIN := $(VENV)/bin

.PHONY: demo test api-check simulate truth planted bench crash standstill spoil coverage mutants soak fuzz docs pictures reference audit lock bounds \
	check wheel-check format clean

demo: $(VENV)/.demo
	@$(BIN)/rimewatch demo --speed $(SPEED) --scenario $(SCENARIO)

test: $(VENV)/.dev
	@.ci/system-packages mosquitto=mosquitto mosquitto_pub=mosquitto-clients \
		victoria-metrics=victoria-metrics systemd-analyze=systemd chromium=chromium \
		nsenter=util-linux mount=mount openssl=openssl
	@# Many tests start rimewatch: what Python compiles is kept, whatever the environment says.
	@# Much of them is waiting, so three at once suit two cores.
	PYTHONDONTWRITEBYTECODE= $(BIN)/pytest -n 3 --dist worksteal $(PYTEST_ARGS) $(TESTS)

api-check: $(VENV)/.dev
	@.ci/system-packages mosquitto=mosquitto
	RIMEWATCH_API_EXAMPLES=$(EXAMPLES) $(BIN)/pytest -n 0 tests/integration/test_api_against_its_document.py

simulate: $(VENV)/.dev
	@PYTHONPATH=tests $(BIN)/python -m simulation $(if $(NIGHT),--seed $(NIGHT),--runs $(N) --first $(FIRST) --jobs $(JOBS))

truth: $(VENV)/.dev
	@PYTHONPATH=tests $(BIN)/python -m simulation.truth --weeks $(or $(WEEKS),10) --first $(or $(FIRST),0)

planted: $(VENV)/.dev
	@PYTHONPATH=tests $(BIN)/python -m simulation.planted

bench: $(VENV)/.dev
	@.ci/system-packages mosquitto=mosquitto mosquitto_sub=mosquitto-clients
	$(BIN)/python benchmarks/run_all.py $(BENCH_ARGS)

pictures: $(VENV)/.dev
	@.ci/system-packages chromium=chromium
	$(BIN)/python .ci/take_pictures.py

docs: $(VENV)/.dev
	NO_MKDOCS_2_WARNING=true $(BIN)/mkdocs build --strict --quiet --config-file .ci/mkdocs.yml
	@echo "The documentation is in build/docs/index.html"

reference: $(VENV)/.dev
	$(BIN)/python .ci/make_reference.py

crash: $(VENV)/.dev
	@.ci/system-packages mosquitto=mosquitto strace=strace
	$(BIN)/python tests/faults/crash.py --times $(TIMES) --seed $(SEED)

spoil: $(VENV)/.dev
	$(BIN)/python tests/faults/spoil.py --times $(TIMES) --seed $(SEED)

standstill: $(VENV)/.dev
	@.ci/system-packages mosquitto=mosquitto
	$(BIN)/python tests/faults/standstill.py --held-s $(HELD_S)

fuzz: $(VENV)/.dev
	@$(BIN)/python -c 'import atheris' 2>/dev/null || VIRTUAL_ENV=$(VENV) $(BIN)/uv pip install --quiet -e ".[fuzz]"
	@PYTHONPATH=tests $(BIN)/python -m fuzz --seconds $(SECONDS) $(FUZZ_ARGS)

coverage: $(VENV)/.dev
	.ci/coverage $(BIN)

mutants: $(VENV)/.dev
	@# Each mistake is a process that reads the tests: what Python compiles is kept.
	@PYTHONDONTWRITEBYTECODE= PYTHONPATH=tests $(BIN)/python -m mutation --package $(PACKAGE) --sample $(SAMPLE) --seed $(SEED) $(MUTANTS_ARGS)

soak: $(VENV)/.dev
	@.ci/system-packages mosquitto=mosquitto
	$(BIN)/python tests/faults/soak.py --days $(DAYS) --minutes $(MINUTES)

audit: $(VENV)/.dev
	.ci/audit $(AUDIT_ARGS)

lock: $(VENV)/.dev
	.ci/lock --upgrade

bounds: $(VENV)/.dev
	.ci/try-bounds lowest-direct
	.ci/try-bounds highest

wheel-check: $(VENV)/.dev
	.ci/wheel-check

check: $(VENV)/.dev
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/mypy benchmarks
	$(BIN)/mypy $(wildcard .ci/*.py)
	$(BIN)/lint-imports

format: $(VENV)/.dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

$(VENV)/.demo: pyproject.toml lock/demo.txt
	@PYTHON="$(PYTHON)" ./.ci/set-up demo
	@touch $@

$(VENV)/.dev: pyproject.toml lock/dev.txt
	@PYTHON="$(PYTHON)" ./.ci/set-up dev
	@touch $@ $(VENV)/.demo

clean:
	rm -rf $(VENV) build dist .mypy_cache .ruff_cache .pytest_cache .hypothesis
