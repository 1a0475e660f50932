"""The same terminal, and nobody's own settings, for every test."""

from __future__ import annotations

import os

import pytest

# Read by textual and rich when they are imported, so set before any test module is.
os.environ.update({"TERM": "xterm-256color", "COLORTERM": "truecolor", "LANG": "C.UTF-8"})
# As the command line does, before numpy is imported.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
for name in ("NO_COLOR", "FORCE_COLOR", "TEXTUAL_THEME", "LC_ALL", "LC_CTYPE"):
    os.environ.pop(name, None)


@pytest.fixture(autouse=True, scope="session")
def _nobodys_settings(tmp_path_factory: pytest.TempPathFactory) -> None:
    """Keep the user's own themes, keys and remembered weekends out of the tests."""
    home = tmp_path_factory.mktemp("user")
    for name in ("XDG_CONFIG_HOME", "XDG_STATE_HOME", "XDG_DATA_HOME", "XDG_CACHE_HOME"):
        os.environ[name] = str(home / name.lower())
