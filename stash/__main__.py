"""``python -m stash`` is ``stripewright``."""

from stash.cli.main import run

run()
