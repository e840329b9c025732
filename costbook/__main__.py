"""`python -m costbook`."""

from costbook.cli import main

raise SystemExit(main())
