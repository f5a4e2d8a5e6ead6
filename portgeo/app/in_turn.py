"""Several commands one after the other in one process, so that what they all load is loaded once.

The commands' words come in as JSON; a line of JSON for each goes out as it is done: its exit status, what it printed
and what it said on the error stream.
"""

from __future__ import annotations

import json
import signal
import sys
from contextlib import redirect_stderr, redirect_stdout
from io import StringIO


def main() -> None:
    """Run the commands in this process's only argument; Ctrl-C ends it at once."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)
    from portgeo.app import cli

    for words in json.loads(sys.argv[1]):
        printed, refused = StringIO(), StringIO()
        with redirect_stdout(printed), redirect_stderr(refused):
            status = cli.main(words)
        print(json.dumps([status, printed.getvalue(), refused.getvalue()]), flush=True)


if __name__ == "__main__":
    main()
