"""``python -m rounds``"""

import sys

from rounds.cli import main

sys.exit(main())
