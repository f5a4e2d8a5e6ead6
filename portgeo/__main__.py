"""`python -m portgeo` is the portgeo command."""

import sys

from portgeo.cli import main

sys.exit(main())
