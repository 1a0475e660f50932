"""The command line: the same answers as the app gives, for scripts and quick looks.

Each module of this package holds a family of commands. A module registers its parsers with
``add`` and imports what a command needs only when it runs, so that ``--help`` stays quick.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

__all__ = ["main"]


def main(argv: Sequence[str] | None = None) -> int:
    """Run pitwright with ``argv``; return the exit status.

    0 is success, 1 a finding (problems in a folder, advice refused), 2 a wrong call or a folder
    that cannot be used.
    """
    from pitwright.cli.parser import build_parser
    from pitwright.cli.shared import CliError

    arguments = build_parser().parse_args(argv)
    try:
        status: int = arguments.run(arguments)
    except CliError as error:
        print(f"pitwright: {error}", file=sys.stderr)
        return 2
    except BrokenPipeError:
        # The reader of a pipe has had enough; that is no fault of ours.
        sys.stderr.close()
        return 0
    except KeyboardInterrupt:
        return 130
    return status
