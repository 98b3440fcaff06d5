# make demo    build the example studio and audit it
# make test    run every test, those that fetch something too
# make cover   the same, and tell the lines and branches that no test runs (half as long again)
# make lint    ruff and mypy
# make bench   print every figure limner is held to, and keep them in build (an hour on two cores)
# make docs    build the documents as pages to open in a browser: site/index.html
# make lock    renew the exact versions that CI installs, requirements/ci.txt
#
# Each makes what it needs first: a virtual environment in .venv, limner in it, the face model in your cache folder.
# A second run is quick. PYTHON=python3.12 picks another interpreter, LIMNER_MODEL=FILE a face model of your own,
# PINS=requirements/ci.txt the exact versions that CI installs (else the newest that fit).

PYTHON ?= python3
VENV ?= .venv
PINS ?=
RUN := $(VENV)/bin/python
# One test for each core: threads of numpy's own would only wait for each other. What Python compiles is kept for the
# hundreds of processes that tests start, and memory that was given back is kept for the next picture (glibc's own words).
SPARING := OPENBLAS_NUM_THREADS=1 PYTHONDONTWRITEBYTECODE= MALLOC_MMAP_THRESHOLD_=4294967296 MALLOC_TRIM_THRESHOLD_=8589934592
EVERY_TEST := $(SPARING) $(RUN) -m pytest -n auto --dist loadfile -m "network or not network"
INSTALL := $(RUN) -m pip install --quiet $(addprefix --constraint ,$(PINS))

.DEFAULT_GOAL := help
.PHONY: help demo test cover lint bench lock model clean

help:
	@sed -n 's/^# \{0,1\}//p' Makefile | head -11

demo: $(VENV)/has-demo model
	$(RUN) demo/run.py

test: $(VENV)/has-test model
	$(EVERY_TEST)

cover: $(VENV)/has-test model
	$(EVERY_TEST) --cov --cov-report=term

lint: $(VENV)/has-lint
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check .
	$(VENV)/bin/mypy

bench: $(VENV)/has-test model
	$(RUN) bench/everything.py

# One file for every Python and system that is declared; nothing in it names where packages come from.
lock: $(VENV)/made
	$(RUN) -m pip install --quiet uv
	$(RUN) -m uv pip compile --quiet --upgrade --universal --python-version 3.10 --all-extras --no-annotate --no-header \
	  --no-emit-index-url --no-emit-find-links pyproject.toml --output-file requirements/ci.txt

docs: $(VENV)/has-docs
	$(RUN) -m sphinx --fail-on-warning --keep-going --quiet --builder html docs site
	@echo "Open site/index.html in a browser."

model: $(VENV)/has-limner
	@$(VENV)/bin/limner model status >/dev/null 2>&1 || $(VENV)/bin/limner model fetch

clean:
	rm -rf $(VENV) dist build site .coverage .coverage.*

$(VENV)/has-limner: $(VENV)/made pyproject.toml
	$(INSTALL) --editable .
	@touch $@

$(VENV)/has-demo: $(VENV)/has-limner
	$(INSTALL) --editable ".[demo]"
	@touch $@

$(VENV)/has-test: $(VENV)/has-limner
	$(INSTALL) --editable ".[demo,docs,test]"
	@touch $@

$(VENV)/has-docs: $(VENV)/has-limner
	$(INSTALL) --editable ".[docs]"
	@touch $@

$(VENV)/has-lint: $(VENV)/has-test
	$(INSTALL) --editable ".[lint]"
	@touch $@

$(VENV)/made:
	@command -v $(PYTHON) >/dev/null || \
	  { echo "limner needs Python 3.10 or newer, and there is no '$(PYTHON)' here: install Python, or name it with PYTHON=..."; exit 1; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 10))' || \
	  { echo "limner needs Python 3.10 or newer; '$(PYTHON)' is $$($(PYTHON) -V 2>&1): name a newer one, for example make demo PYTHON=python3.12"; exit 1; }
	@$(PYTHON) -c 'import venv, ensurepip' 2>/dev/null || \
	  { echo "Python's venv and pip are missing: on Debian or Ubuntu, apt-get install python3-venv"; exit 1; }
	$(PYTHON) -m venv --clear $(VENV)
	@touch $@
