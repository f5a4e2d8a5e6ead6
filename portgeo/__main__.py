"""`python -m portgeo` is the portgeo command."""

import sys

from portgeo.app.cli import main

sys.exit(main())
