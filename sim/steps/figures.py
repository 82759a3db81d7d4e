"""Draw every picture that the report shows."""

import argparse
from pathlib import Path

from sim.engine.leash import end_with_pipeline
from sim.plots.figures import write_figures
from sim.steps.seal import FIGURES, marked, seal


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.figures", description=__doc__)
    parser.add_argument("out", help="results folder of a run")
    out = Path(parser.parse_args(argv).out)
    end_with_pipeline()
    mark = marked(out)
    figures = write_figures(out)
    seal(out, "figures", mark, [out / FIGURES, *(out / figure.file for figure in figures)])
    print(f"{len(figures)} figures")


if __name__ == "__main__":
    main()
