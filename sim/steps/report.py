"""Write the report: one page that opens with the answer."""

import argparse
from pathlib import Path

from sim.engine.leash import end_with_pipeline
from sim.report.page import write_report
from sim.steps.seal import marked, seal


def main(argv=None) -> None:
    """Command line of this step."""
    parser = argparse.ArgumentParser(prog="python -m sim.steps.report", description=__doc__)
    parser.add_argument("out", help="results folder of a run")
    out = Path(parser.parse_args(argv).out)
    end_with_pipeline()
    mark = marked(out)
    seal(out, "report", mark, [write_report(out)])


if __name__ == "__main__":
    main()
