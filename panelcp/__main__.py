"""`python -m panelcp`."""

import sys

from panelcp.cli import main

if __name__ == "__main__":
    sys.exit(main())
