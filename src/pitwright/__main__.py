"""Lets ``python -m pitwright`` do what ``pitwright`` does."""

import sys

from pitwright.cli import main

sys.exit(main())
