"""`python -m takehold`."""

from takehold.cli.main import main

main()
