# From a study to its report, one rule a step; each rule is a command that a person can type.
#
#   snakemake -c all --config study=studies/marsh-square.toml
#
# Further settings: out=DIR (default results/<study's name>), units=N (instead of the study's own number), workers=N
# (for how many cores the run is cut; needed where jobs run on other machines: docs/cluster.md).

import sys
from pathlib import Path

from snakemake.utils import min_version

min_version("9.0")

sys.path.insert(0, workflow.basedir)
from sim.steps.layout import chunk_count, default_out, mark_inputs, refuse_braces, study_inputs  # noqa: E402

# The first thing said about a bad study is what is wrong with it, before any job is planned.
STUDY = str(config.get("study") or "")
INPUTS = study_inputs(STUDY, config.get("units"))
OUT = Path(str(config.get("out") or default_out(STUDY)))
refuse_braces(OUT)
UNITS = f"--units {int(config['units'])}" if config.get("units") else ""
# Changes with the contents of all of these, and then every step is done again; the inputs' own times do not count.
MARK = mark_inputs(OUT, INPUTS, config.get("units"))
# Each job on another machine plans the run anew, and that machine's own cores must not change the plan.
if workflow.remote_exec and not config.get("workers"):
    sys.exit("Jobs on other machines must all cut the run alike. Add to --config: workers=4 (docs/cluster.md)")
WORKERS = int(config["workers"]) if config.get("workers") else workflow.cores or 1

# A step takes the shell's place, and ends with this process, should it be killed (see sim/engine/leash.py).
shell.prefix("set -euo pipefail; BANDFLOOR_TIED=$PPID exec ")


scattergather:
    chunk=chunk_count(STUDY, config.get("units"), WORKERS),


localrules:
    all,


rule all:
    input:
        OUT / "report.html",


# Check the study, write it out with every default, draw the units, write the nominal deck.
rule sample:
    input:
        MARK,
    output:
        study=OUT / "study.toml",
        units=OUT / "units.parquet",
        scenarios=OUT / "scenarios.csv",
        netlist=OUT / "netlist.cir",
    log:
        OUT / "logs/sample.log",
    params:
        python=sys.executable,
        study=STUDY,
        out=OUT,
        units=UNITS,
    shell:
        "{params.python:q} -m sim.steps.sample {params.study:q} --out {params.out:q} {params.units} > {log:q} 2>&1"


# Run one chunk of virtual units through ngspice; failed units are listed, never dropped.
rule simulate:
    input:
        MARK,
        units=OUT / "units.parquet",
    output:
        measures=temp(OUT / "chunks/{scatteritem}.npz"),
        failures=temp(OUT / "chunks/{scatteritem}-failures.csv"),
    log:
        OUT / "logs/simulate-{scatteritem}.log",
    params:
        python=sys.executable,
        study=STUDY,
        units=UNITS,
    shell:
        "{params.python:q} -m sim.steps.simulate {params.study:q} {params.units}"
        " --chunk {wildcards.scatteritem} --measures {output.measures:q} --failures {output.failures:q}"
        " --log {log:q} > {log:q} 2>&1"


# Bring the chunks together: measures, curves, yields, drivers, the answer.
rule summarise:
    input:
        MARK,
        units=OUT / "units.parquet",
        measures=gather.chunk(OUT / "chunks/{scatteritem}.npz"),
        failures=gather.chunk(OUT / "chunks/{scatteritem}-failures.csv"),
    output:
        measures=OUT / "measures.parquet",
        curves=OUT / "curves.parquet",
        summary=OUT / "summary.csv",
        drivers=OUT / "drivers.csv",
        contributors=OUT / "contributors.csv",
        failures=OUT / "failures.csv",
        answer=OUT / "answer.json",
    log:
        OUT / "logs/summarise.log",
    params:
        python=sys.executable,
        study=STUDY,
        out=OUT,
        units=UNITS,
    shell:
        "{params.python:q} -m sim.steps.summarise {params.study:q} {params.units} --out {params.out:q}"
        " --chunks {input.measures:q} --failures {input.failures:q} > {log:q} 2>&1"


# Draw every picture that the report shows.
rule figures:
    input:
        MARK,
        OUT / "study.toml",
        OUT / "measures.parquet",
        OUT / "curves.parquet",
        OUT / "summary.csv",
        OUT / "drivers.csv",
        OUT / "contributors.csv",
        OUT / "answer.json",
    output:
        OUT / "figures/figures.json",
    log:
        OUT / "logs/figures.log",
    params:
        python=sys.executable,
        out=OUT,
    shell:
        "{params.python:q} -m sim.steps.figures {params.out:q} > {log:q} 2>&1"


# One page that opens with the answer.
rule report:
    input:
        MARK,
        OUT / "figures/figures.json",
        OUT / "failures.csv",
        OUT / "netlist.cir",
    output:
        OUT / "report.html",
    log:
        OUT / "logs/report.log",
    params:
        python=sys.executable,
        out=OUT,
    shell:
        "{params.python:q} -m sim.steps.report {params.out:q} > {log:q} 2>&1"
