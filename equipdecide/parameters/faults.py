"""What can be wrong with a parameter file, and with a question put to the law."""

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong in one file: where it stands, what it is, how to mend it."""

    file: str
    line: int
    text: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}: {self.text}"


class ParameterFileError(ValueError):
    """A parameter file does not say what it must; `faults` holds every fault found, in the order of the file."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = tuple(sorted(faults))
        super().__init__("\n".join(str(fault) for fault in self.faults))


class MissingParameter(LookupError):
    """The law on file has no such parameter, no value for that day, or no such choice of keys."""

    def __str__(self) -> str:
        # LookupError itself prints its argument as is; KeyError, its child, would add quotation marks.
        return str(self.args[0]) if self.args else ""
