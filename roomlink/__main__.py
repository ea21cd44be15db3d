import sys

from roomlink.cli import main

sys.exit(main())
