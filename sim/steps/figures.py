"""Draw every picture that the report shows."""

import argparse
from pathlib import Path

from sim.plots.figures import write_figures


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.figures", description=__doc__)
    parser.add_argument("out", help="results folder of a run")
    out = Path(parser.parse_args(argv).out)
    print(f"{len(write_figures(out))} figures")


if __name__ == "__main__":
    main()
