"""A call sets up its own family of commands only, and nobody can tell the difference."""

from __future__ import annotations

import argparse
import importlib

import pytest

from pitwright.cli.parser import FAMILIES, build_parser

COMMANDS = [name for names in FAMILIES.values() for name in names]


def commands_of(parser: argparse.ArgumentParser) -> dict[str, argparse.ArgumentParser]:
    [action] = [a for a in parser._actions if isinstance(a, argparse._SubParsersAction)]
    return dict(action.choices)


@pytest.mark.parametrize("family", FAMILIES)
def test_each_family_adds_the_commands_listed_for_it(family: str) -> None:
    commands = argparse.ArgumentParser().add_subparsers()
    importlib.import_module(f"pitwright.cli.{family}").add(commands)
    assert sorted(commands.choices) == sorted(FAMILIES[family])


def test_every_command_is_there_when_none_is_named() -> None:
    for first in (None, "--help", "nonsense"):
        assert sorted(commands_of(build_parser(first))) == sorted(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_command_named_first_reads_as_among_all(command: str) -> None:
    alone = commands_of(build_parser(command))
    assert len(alone) < len(COMMANDS) / 2
    assert alone[command].format_help() == commands_of(build_parser())[command].format_help()
