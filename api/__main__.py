"""``python -m api`` is ``owncurve``."""

import sys

from api.commands import main

if __name__ == "__main__":
    sys.exit(main())
