"""``python -m depthwright_app``: the same as the command ``depthwright``."""

import sys

from depthwright_app.command import main

if __name__ == "__main__":
    sys.exit(main())
