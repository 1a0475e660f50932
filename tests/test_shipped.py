"""The shipped folders are found, and one that is missing is named."""

from __future__ import annotations

import pytest

from pitwright.paths import demo_folder, shipped, themes_folder


def test_the_demo_and_the_themes_are_there() -> None:
    assert (demo_folder() / "clutch.toml").is_file()
    assert any(themes_folder().glob("*.toml"))


def test_a_folder_that_was_not_installed_is_named() -> None:
    with pytest.raises(FileNotFoundError, match="the folder 'no such' is missing from this inst"):
        shipped("no such")
