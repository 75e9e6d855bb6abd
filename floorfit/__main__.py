"""Run the command line with ``python -m floorfit``."""

import sys

from floorfit.cli import main

sys.exit(main())
