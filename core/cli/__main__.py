"""``python -m palpate.core.cli`` is the command line too."""

import sys

from . import main

if __name__ == "__main__":
    sys.exit(main())
