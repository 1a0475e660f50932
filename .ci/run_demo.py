"""Open the demo in a real pseudo-terminal with an installed pitwright, look, and quit by key."""

import fcntl
import os
import pty
import select
import struct
import sys
import termios
import time


def main(command: str, folder: str) -> int:
    pid, terminal = pty.fork()
    if pid == 0:
        os.environ["TERM"] = "xterm-256color"
        os.execv(command, [command, "demo", "--to", folder])
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 30, 100, 0, 0))
    seen = b""
    deadline = time.monotonic() + 60
    asked_to_quit = False
    while time.monotonic() < deadline:
        ready, _, _ = select.select([terminal], [], [], 0.5)
        if ready:
            try:
                seen += os.read(terminal, 65536)
            except OSError:
                break
        if b"Reedmere" in seen and b"Q4" in seen and not asked_to_quit:
            os.write(terminal, b"q")
            asked_to_quit = True
    _, status = os.waitpid(pid, 0)
    code = os.waitstatus_to_exitcode(status)
    if not asked_to_quit or code != 0:
        print(f"the demo did not open and close (exit {code})", file=sys.stderr)
        return 1
    print("the demo opened, showed its heats and closed")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2]))
