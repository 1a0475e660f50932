"""Open the demo in a real pseudo-terminal with an installed pitwright, look, and quit by key."""

import os
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from trust.terminal import terminal


def main(command: str, folder: str) -> int:
    env = os.environ | {"TERM": "xterm-256color"}
    with terminal([command, "demo", "--to", folder], env, (100, 30)) as app:
        app.until(lambda seen: b"Reedmere" in seen and b"Q4" in seen)
        app.keys("q")
        if code := app.wait(60):
            print(f"the demo opened, and ended with {code}", file=sys.stderr)
            return 1
        if code is None:
            print("the demo opened, and did not close", file=sys.stderr)
            return 1
    print("the demo opened, showed its heats and closed")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2]))
