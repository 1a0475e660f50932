"""Whether a path stays in the weekend's folder once its links are followed."""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["leads_out"]


def leads_out(path: Path, folder: Path) -> bool:
    """Tell whether ``path``, by ``..`` or by links, is a place outside of ``folder``.

    Raises OSError when the links cannot be followed.
    """
    inside = os.path.realpath(folder)
    found = os.path.realpath(path)
    return found != inside and not found.startswith(inside.rstrip(os.sep) + os.sep)
