# Every target does its own set-up: `make demo` works in a fresh checkout.
#
#   PYTHON=/path/to/python3   the interpreter to build .venv with (3.11 or newer)
#   ARGS="-k wire -x"         more words for the program that the target runs

VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check -qq
LOCK := $(BIN)/uv pip compile --quiet --universal --python-version 3.11 --generate-hashes \
	--no-emit-index-url --custom-compile-command "make lock" --upgrade pyproject.toml

# More than there are processors, as a rule: many tests wait for real time (tests/order.py).
WORKERS ?= 4

FUZZ_SECONDS ?= 3600
# Compilers with sanitizers, and the one with a fuzzer; together 120 MB, the processor's 550 MB.
FUZZED := gcc:gcc clang:clang \
	'/usr/lib/llvm-*/lib/clang/*/lib/*/libclang_rt.fuzzer*.a:libclang-rt-dev'

# A start from source would be measured with the compilation in it.
unexport PYTHONDONTWRITEBYTECODE

.DEFAULT_GOAL := help
.NOTPARALLEL:
.DELETE_ON_ERROR:
.PHONY: help demo test fuzz check bench score lock clean

help: ## this list
	@sed -n 's/^\([a-z]*\):.*## /  make \1	/p' Makefile

demo: $(VENV)/.run ## the whole thing with a simulated VFO, a minute and a half
	@requirements/system.sh mosquitto:mosquitto
	@$(BIN)/vfod demo $(ARGS)

test: $(VENV)/.test ## the tests
	@requirements/system.sh mosquitto:mosquitto mosquitto_sub:mosquitto-clients \
		prometheus:prometheus promtool:prometheus $(FUZZED) \
		arm-none-eabi-gcc:gcc-arm-none-eabi qemu-system-arm:qemu-system-arm \
		chromium:chromium systemd-analyze:systemd udevadm:udev groff:groff-base \
		openssl:openssl curl:curl zsh:zsh \
		arecord:alsa-utils pulseaudio:pulseaudio parec:pulseaudio-utils
	@$(BIN)/python -m pytest -n $(WORKERS) --maxschedchunk 2 --ignore=tests/bench $(ARGS)

fuzz: $(VENV)/.test ## any bytes at both ends of the line, for FUZZ_SECONDS (an hour)
	@requirements/system.sh $(FUZZED)
	@$(BIN)/python -m tests.firmware.fuzz --seconds $(FUZZ_SECONDS) $(ARGS)

check: $(VENV)/.check ## lint, format, types, imports
	@failed=0; \
	for tool in 'ruff check' 'ruff format --check' mypy 'lint-imports --no-logo'; do \
		$(BIN)/$$tool || failed=1; done; \
	exit $$failed

bench: $(VENV)/.test ## the measured figures
	@$(BIN)/python -m tests.bench $(ARGS)

NIGHTS ?= 200

score: $(VENV)/.test ## what detection and occupancy are worth, against the known truth of NIGHTS
	@$(BIN)/python -m tests.score --nights $(NIGHTS) $(ARGS)

lock: $(BIN)/python ## newest releases into requirements/*.txt
	@$(PIP) install 'uv>=0.13,<0.14'
	@$(LOCK) --group build --output-file requirements/run.txt
	@$(LOCK) --group build --group test --constraints requirements/run.txt \
		--output-file requirements/test.txt
	@$(LOCK) --group build --group test --group check --constraints requirements/test.txt \
		--output-file requirements/check.txt

clean: ## everything that these targets made
	@rm -rf $(VENV) build dist .fuzz .score .hypothesis .import_linter_cache .mypy_cache .pytest_cache .ruff_cache
	@find vfod tests -name __pycache__ -prune -exec rm -rf {} +

# What was installed from which file; a newer file is installed again.
$(VENV)/.%: requirements/%.txt pyproject.toml vfod/cli/launcher | $(BIN)/python
	@echo "installing what $< names into $(VENV)"
	@$(PIP) install --require-hashes -r $<
	@$(PIP) install --no-deps --no-build-isolation --editable .
	@touch $@

$(BIN)/python:
	@found=; for python in $(or $(PYTHON),python3 python3.14 python3.13 python3.12 python3.11); do \
		if "$$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then \
			found=$$python; break; fi; done; \
	if [ -z "$$found" ]; then \
		echo "No Python 3.11 or newer (looked for: $(or $(PYTHON),python3 and python3.11 to python3.14))."; \
		echo "Install one, or name it: make PYTHON=/path/to/python3"; exit 1; fi; \
	has_venv() { "$$found" -c 'import venv; from ensurepip import version' 2>/dev/null; }; \
	has_venv || requirements/system.sh no-such-command:python3-venv; \
	if ! has_venv; then echo "$$found has no venv module: apt-get install python3-venv"; exit 1; fi; \
	"$$found" -m venv $(VENV)
