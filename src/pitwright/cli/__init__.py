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
    that cannot be used, 3 a mistake of pitwright's own, of which a report is written to a file,
    4 an answer or a finding that may be wrong, since a file of the folder could not be used.
    """
    from pitwright.cli.plain_output import plain_output

    if argv is None:
        # The process is ours alone, no part of a test or of another program.
        argv = sys.argv[1:]
        _start_quickly()
    with plain_output():
        return _run(argv)


def _start_quickly() -> None:
    """Leave out work and waiting, of the interpreter and of libraries, that serve nobody.

    Of the garbage, the young is searched as often as keeps memory low, the old seldom and not at
    the very end: starting makes a hundred thousand objects that are there to stay (modules,
    models), and the default has them all searched again and again, and twice more at the end: 15 %
    of the processor time of ``state``. What is not in a cycle is freed at once as ever.

    pydantic does not look through every installed package for plugins of its own, which pitwright
    has no use for: 7 ms where a hundred packages are installed.

    numpy's linear algebra keeps to one thread: our matrices are small, and where another process
    wants the second core its threads wait for each other: 1.05 s instead of 0.24 for ``race``.
    """
    import atexit
    import gc
    import os

    gc.set_threshold(5000, 50, 100)
    atexit.register(gc.freeze)
    os.environ.setdefault("PYDANTIC_DISABLE_PLUGINS", "__all__")
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # A key's effect waits for the next frame; half as long is half as slow a hand.
    os.environ.setdefault("TEXTUAL_FPS", "120")


def _run(argv: Sequence[str]) -> int:
    from pitwright.cli.parser import build_parser
    from pitwright.cli.shared import CliError, answering

    arguments = build_parser(argv[0] if argv else None).parse_args(argv)
    try:
        with answering(arguments) as running:
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
    except OSError as error:
        # A stick pulled out, a disk that fails: nothing to mend in pitwright.
        where = f"{error.filename}: " if error.filename else ""
        print(f"pitwright: {where}{error.strerror or error}", file=sys.stderr)
        return 2
    except Exception as error:
        from pitwright.store.crash import crash_words, write_crash_report

        folder = getattr(arguments, "folder", None)
        doing = getattr(arguments.run, "__qualname__", "")
        report = write_crash_report(error, folder=folder, doing=f"command {doing}")
        print(crash_words(report), file=sys.stderr)
        return 3
    return running.status(status)
