"""What is wrong with a weekend's files, said so that it can be mended."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from pitwright.signs import visible

__all__ = ["Problem"]


@dataclass(frozen=True, order=True)
class Problem:
    """One fault: the file, the key in it (a TOML path, may be empty), the reason, and advice.

    ``weight`` is ``error`` when the content cannot be used and ``warning`` when it can. Names of
    files and keys are not ours: what a terminal would obey in them is left out.
    """

    file: str
    key: str
    reason: str
    advice: str = ""
    weight: Literal["error", "warning"] = "error"

    def __post_init__(self) -> None:
        """Leave out what a terminal would obey."""
        for field in ("file", "key", "reason", "advice"):
            object.__setattr__(self, field, visible(getattr(self, field), keep=""))

    def __str__(self) -> str:
        """Return the fault as one line of text."""
        place = f"{self.file}: {self.key}" if self.key else self.file
        advice = f" ({self.advice})" if self.advice else ""
        return f"{place}: {self.reason}{advice}"
