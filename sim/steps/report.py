"""Write the report: one page that opens with the answer."""

import argparse
from pathlib import Path

from sim.report.page import write_report


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.report", description=__doc__)
    parser.add_argument("out", help="results folder of a run")
    write_report(Path(parser.parse_args(argv).out))


if __name__ == "__main__":
    main()
