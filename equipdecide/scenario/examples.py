"""The ready examples: in a checkout they are the files of `scenarios/`; installed, they stand inside the package."""

from __future__ import annotations

from pathlib import Path

_PACKAGE = Path(__file__).parents[1]


def examples_folder() -> Path:
    """Return the folder of the examples. Raises FileNotFoundError where the package was installed without them."""
    for folder in (_PACKAGE / "examples", _PACKAGE.parent / "scenarios"):
        if (folder / "first_sale.yaml").is_file():
            return folder
    raise FileNotFoundError("the examples that come with equipdecide are not beside it; install it again")


def example(name: str) -> Path:
    """Return the file of an example by its name ("first_sale"). Raises KeyError with the names there are."""
    names = examples()
    if name not in names:
        raise KeyError(f"no example {name!r}; there are {', '.join(names)}")
    return examples_folder() / f"{name}.yaml"


def examples() -> tuple[str, ...]:
    """Return the names of the examples; what came of one (``..._actuals``) is none."""
    return tuple(sorted(path.stem for path in examples_folder().glob("*.yaml") if not path.stem.endswith("_actuals")))
