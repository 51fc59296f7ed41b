"""`python -m snapcheck` does what the `snapcheck` command does."""

import sys

from snapcheck.cli import main

sys.exit(main())
