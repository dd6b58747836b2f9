"""`python -m controller` is `underback`."""

import sys

from controller.cli import main

sys.exit(main())
