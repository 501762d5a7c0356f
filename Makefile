# The two commands that set everything up on a fresh machine: `make demo` and `make test`.
# DEVELOPERS.md tells what the others are for.

PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
OUT := out
WORKERS ?= 2

.PHONY: help demo test check bench format firmware emulate long clean

help:
	@echo "make demo      set up, then knit a packaged example on the simulator"
	@echo "make test      set up, then run every test that this machine can run"
	@echo "make check     lint, types and the quick tests: the everyday command"
	@echo "make bench     print the measured ratios"
	@echo "make long      the long runs, by hand"
	@echo "make firmware  build the firmware for the chip"
	@echo "make emulate   a board to try 'latchline knit --port' on, without a board"
	@echo "make format    put the sources into the house style"

# A stamp for each extent of the installation, so that make knows when it is out of date.
$(VENV)/.installed: pyproject.toml
	@test -d $(VENV) || $(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable .
	@touch $@

$(VENV)/.tests-installed: pyproject.toml
	@test -d $(VENV) || $(PYTHON) -m venv $(VENV)
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --editable '.[test]'
	@touch $@ $(VENV)/.installed

demo: $(VENV)/.installed
	@$(BIN)/latchline examples $(OUT)/examples --replace >/dev/null
	@$(BIN)/latchline preview $(OUT)/examples/harbour-blanket.toml --out $(OUT)/demo-fabric.png
	@$(BIN)/latchline dry-run $(OUT)/examples/harbour-blanket.toml --trace $(OUT)/demo-trace.vcd
	@echo
	@echo "Picture of the fabric:   $(OUT)/demo-fabric.png"
	@echo "Trace of every signal:   $(OUT)/demo-trace.vcd (any VCD viewer shows it)"
	@echo "The piece and its charts: $(OUT)/examples/"

test: $(VENV)/.tests-installed
	@.ci/toolchain
	@$(BIN)/ruff check host tests hardware firmware
	@$(BIN)/ruff format --check host tests hardware firmware
	@$(BIN)/mypy
	@$(BIN)/python -m pytest -n $(WORKERS) --dist worksteal -m "not long" \
		--cov --cov-report=term:skip-covered --cov-report=

check: $(VENV)/.tests-installed
	@$(BIN)/ruff check host tests hardware firmware
	@$(BIN)/ruff format --check host tests hardware firmware
	@$(BIN)/mypy
	@$(BIN)/python -m pytest -q -n $(WORKERS) --dist worksteal --hypothesis-profile everyday \
		-m "not (long or native or chip or spice or slow)"

long: $(VENV)/.tests-installed
	@.ci/toolchain
	@$(BIN)/python -m pytest -s -m long

bench: $(VENV)/.tests-installed
	@$(BIN)/python -m tests.bench

firmware:
	@$(MAKE) --no-print-directory -C firmware

emulate: $(VENV)/.tests-installed
	@$(MAKE) --no-print-directory -C firmware emulator
	@$(BIN)/python firmware/emulator/pty_board.py

format: $(VENV)/.tests-installed
	@$(BIN)/ruff check --fix host tests hardware firmware
	@$(BIN)/ruff format host tests hardware firmware

clean:
	@rm -rf $(OUT) build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis .coverage
	@$(MAKE) --no-print-directory -C firmware clean
