# Two commands matter: `make demo` and `make test`. Both set up what they need and say what they do.
# Nothing is installed outside .venv. Once the packages are there, everything works offline.

PYTHON ?= python3.11
VENV := .venv
BIN := $(VENV)/bin
export PIP_DISABLE_PIP_VERSION_CHECK := 1
# Programs that tests start would compile all of their source each time, and pytest all tests in each process.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: demo test calibration verification bench bench-fleet reconstruction feeding phones power faults \
  fuzz audit sbom release lock clean help

help:  ## say what can be made
	@grep -hE '^[a-z-]+:.*## ' Makefile | sed -E 's/:.*## /: /'

# A stamp is remade only when the lock file or the project file changes, so reruns do not touch the network.
$(VENV)/bin/python:
	@echo "== making a Python environment in $(VENV)"
	@$(PYTHON) -m venv $(VENV) 2>/dev/null || ( rm -rf $(VENV) && \
	  echo "   this Python has no venv with pip; fetching virtualenv instead" && \
	  $(PYTHON) -m pip install -q --target .build/virtualenv virtualenv && \
	  PYTHONPATH=.build/virtualenv $(PYTHON) -m virtualenv -q $(VENV) )

$(VENV)/.base: requirements.lock pyproject.toml | $(VENV)/bin/python
	@echo "== installing underlid and its locked packages (once; needs the network)"
	@$(BIN)/python -m pip install -q --no-compile -r requirements.lock
	@$(BIN)/python -m pip install -q --no-deps --no-build-isolation -e .
	@touch $@

$(VENV)/.dev: requirements-dev.lock $(VENV)/.base
	@echo "== installing the locked packages for tests (once; needs the network)"
	@$(BIN)/python -m compileall -qq $(VENV)/lib & \
	  $(BIN)/python -m pip install -q --no-compile -r requirements-dev.lock; installed=$$?; wait; exit $$installed
	@touch $@

demo: $(VENV)/.base .build/compiled  ## set up, then run the main job on invented bins over real weather; writes demo/
	@echo "== an invented keeper, three bins, one typical winter of public weather: journal, fit, outlook, update"
	@$(BIN)/underlid demo --out demo

# Compiled code is kept beside its source, and does not notice when what it was compiled from elsewhere has changed.
.build/compiled: $(shell find src -name '*.py')
	@mkdir -p .build && find src -name '*.nb[ci]' -delete && touch $@

test: $(VENV)/.dev .build/compiled  ## set up, then lint, type-check and test, in SQLite and in PostgreSQL
	@echo "== ruff"
	@$(BIN)/ruff check -q src tests tools
	@$(BIN)/ruff format -q --check src tests tools
	@echo "== pytest, and mypy beside it"
	@# for two cores: a third process is no gain, and threads of linear algebra would wait for each other
	@mkdir -p .build; ( $(BIN)/mypy >.build/mypy.txt 2>&1; echo $$? >.build/mypy.code ) & \
	  OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -q -n 2 $(PYTEST); tests=$$?; wait; \
	  cat .build/mypy.txt; [ $$tests = 0 ] || exit $$tests; exit $$(cat .build/mypy.code)

calibration: $(VENV)/.dev .build/compiled  ## simulate journals and trials with a known truth, count how often ranges and verdicts are right; writes docs/calibration.md
	@$(BIN)/python tools/calibrate.py
	@$(BIN)/python tools/calibrate_colonies.py
	@$(BIN)/python tools/calibrate_acidity.py
	@$(BIN)/python tools/calibrate_trials.py
	@$(BIN)/python tools/calibrate_hierarchy.py

verification: $(VENV)/.dev .build/compiled  ## check heat solver and life cycle against closed forms, published tables and a standard test; writes docs/verification.md
	@$(BIN)/python tools/verify.py

bench: $(VENV)/.dev .build/compiled  ## time heat, life cycle, chemistry and trials beside general-purpose tools on the same problems
	@$(BIN)/python tools/bench.py
	@$(BIN)/python -m pip install -q --no-deps --target .build/peers particles==0.4 joblib cloudpickle loky scikit-learn threadpoolctl narwhals \
	  2>/dev/null || echo "   the particles package could not be fetched: left out"
	@PYTHONPATH=.build/peers $(BIN)/python tools/bench_colonies.py
	@$(BIN)/python tools/bench_chemistry.py
	@$(BIN)/python tools/bench_trials.py

reconstruction: $(VENV)/.dev  ## measure hours made from daily minimum and maximum against real hours; writes docs/weather.md
	@$(BIN)/python -m tests.weather.reconstruction

feeding: $(VENV)/.dev .build/compiled  ## how much citrus moves a small bin, and what happens in the pocket; writes docs/feeding.md
	@$(BIN)/python tools/feeding_page.py

bench-fleet: $(VENV)/.dev .build/compiled  ## a thousand and ten thousand made-up bins, a year each, on one and two processes: takes hours; writes docs/fleet.md
	@$(BIN)/python tools/bench_fleet.py --bins 1000,10000 --workers 1,2

phones: $(VENV)/.dev .build/compiled  ## fifty phones on one journal for a minute, and how long each page of the demo takes
	@$(BIN)/python tools/bench_phones.py

power: $(VENV)/.dev .build/compiled  ## what trials of how many bins can tell, by simulating whole years of them; writes docs/power.md
	@$(BIN)/python tools/power_page.py

faults: $(VENV)/.dev .build/compiled  ## break made-up journals in every way that can be staged, and look at what is left; writes docs/reliability.md
	@$(BIN)/python tools/faults.py

fuzz: $(VENV)/.dev .build/compiled  ## scribble over good files and words for some minutes
	@FUZZ_EXAMPLES=$${FUZZ_EXAMPLES:-3000} $(BIN)/python -m pytest -q -n 2 tests/fuzz

.build/audit/.made: tools/audit.lock $(VENV)/.dev
	@rm -rf .build/audit && $(BIN)/python -m pip install -q --require-hashes --target .build/audit -r tools/audit.lock && touch $@

audit: $(VENV)/.dev  ## hashes, licences, withdrawn versions and known weaknesses of all packages; says what it could not look up
	@$(MAKE) -s .build/audit/.made || echo "   the auditing tool could not be fetched"
	@PYTHONPATH=.build/audit $(BIN)/python tools/audit.py

sbom: .build/audit/.made  ## list what the program is made of (CycloneDX 1.6); writes .build/underlid.cdx.json
	@PYTHONPATH=.build/audit $(BIN)/python tools/sbom.py --out .build/underlid.cdx.json --check

release: $(VENV)/.dev  ## build the last commit, the same bytes each time; KEY=file signs it
	@$(BIN)/python tools/release.py --out dist $(if $(KEY),--key $(KEY))

lock:  ## resolve the packages anew
	@test -x $(BIN)/pip-compile || $(BIN)/python -m pip install -q pip-tools
	$(BIN)/pip-compile -q --generate-hashes --strip-extras --no-emit-index-url --no-emit-trusted-host --no-emit-find-links \
	  --no-header --allow-unsafe --all-build-deps -o requirements.lock pyproject.toml
	$(BIN)/pip-compile -q --generate-hashes --strip-extras --no-emit-index-url --no-emit-trusted-host --no-emit-find-links \
	  --no-header --allow-unsafe --extra dev --all-build-deps -c requirements.lock -o requirements-dev.lock pyproject.toml
	$(BIN)/pip-compile -q --generate-hashes --strip-extras --no-emit-index-url --no-emit-trusted-host --no-emit-find-links \
	  --no-header --allow-unsafe -o tools/audit.lock tools/audit.in

clean:  ## remove what was made, keep journals
	rm -rf $(VENV) .build demo .pytest_cache .mypy_cache .ruff_cache
