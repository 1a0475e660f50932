"""What is wrong with a weekend's files, said so that it can be mended."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from pitwright.signs import visible

__all__ = ["Problem"]


@dataclass(frozen=True, order=True)
class Problem:
    """One fault: the file, the key in it (a TOML path, may be empty), the reason, and advice.

    ``plain`` is the reason without names of files and keys, empty when that has none.
    ``weight`` is ``error`` when the content cannot be used, ``question`` when it is used and is
    probably not what was meant, ``warning`` when it is worth knowing. Names of files and keys are
    not ours: what a terminal would obey in them is left out.
    """

    file: str
    key: str
    reason: str
    advice: str = ""
    weight: Literal["error", "question", "warning"] = "error"
    plain: str = field(default="", compare=False)

    def __post_init__(self) -> None:
        """Leave out what a terminal would obey."""
        for name in ("file", "key", "reason", "advice", "plain"):
            object.__setattr__(self, name, visible(getattr(self, name), keep=""))

    def __str__(self) -> str:
        """Return the fault as one line of text."""
        place = f"{self.file}: {self.key}" if self.key else self.file
        advice = f" ({self.advice})" if self.advice else ""
        return f"{place}: {self.reason}{advice}"
