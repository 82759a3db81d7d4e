"""Where the files that travel with the package live."""

from pathlib import Path

# Editable and plain checkouts keep circuits/ beside sim/; an installed wheel carries it inside the package.
_BESIDE = Path(__file__).resolve().parent.parent
_INSIDE = Path(__file__).resolve().parent

CIRCUITS = (_BESIDE if (_BESIDE / "circuits").is_dir() else _INSIDE) / "circuits"
SNAKEFILE = (_BESIDE if (_BESIDE / "Snakefile").is_file() else _INSIDE) / "Snakefile"
