"""`python -m edgemon` is the command `edgemon`."""

import sys

from edgemon.cli.main import main

sys.exit(main())
