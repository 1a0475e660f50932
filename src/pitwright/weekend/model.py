"""The base of all cards and records, and the kinds of text they may hold.

The modules of models do without ``from __future__ import annotations``: pydantic would have to
compile and evaluate four hundred of them from text, 5 ms at every start.
"""

import re
from typing import Annotated, Final

from pydantic import AfterValidator, BaseModel, ConfigDict

from pitwright.signs import first_hidden, visible

__all__ = ["MOST_SIGNS", "Line", "Model", "Name", "Text", "check_line", "check_name", "visible"]


class Model(BaseModel):
    """A frozen model that refuses unknown keys, NaN and infinity."""

    model_config = ConfigDict(
        extra="forbid",
        frozen=True,
        allow_inf_nan=False,
        defer_build=True,
        populate_by_name=True,
    )


MOST_SIGNS: Final = 4000
"""How long a text may be."""

_DEVICES: Final = frozenset(
    ["con", "prn", "aux", "nul", *(f"{d}{n}" for d in ("com", "lpt") for n in range(1, 10))]
)
_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 ._-]{0,38}[A-Za-z0-9])?")


def _text(value: str) -> str:
    if len(value) > MOST_SIGNS:
        raise ValueError(f"longer than {MOST_SIGNS} signs")
    sign = first_hidden(value)
    if sign is not None:
        raise ValueError(f"holds the control sign U+{ord(sign):04X}; take it out")
    # Here, before anything is laid out: a sign without width becomes several with.
    return visible(value)


def check_line(value: str) -> str:
    """Return a line of a record, all of it to be seen. Raises ValueError when it cannot be one."""
    if len(value) > 200:
        raise ValueError("longer than 200 signs")
    if "\n" in value or "\t" in value:
        raise ValueError("must be a single line without tabs")
    return _text(value)


def check_name(value: str) -> str:
    """Return a name as it is. Raises ValueError when it cannot be a part of a file's name."""
    if not _NAME.fullmatch(value):
        raise ValueError(
            "must be 1 to 40 letters, digits, spaces, dots, dashes, starting and ending "
            "with a letter or digit"
        )
    if value.split(".")[0].strip().lower() in _DEVICES:
        raise ValueError("is a device name on some systems and cannot name a file")
    return value


Text = Annotated[str, AfterValidator(_text)]
"""Free text of several lines."""

Line = Annotated[str, AfterValidator(check_line)]
"""A single line of text."""

Name = Annotated[str, AfterValidator(check_name)]
"""A short name that may also become part of a file name."""
