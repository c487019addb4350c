"""``python -m rimewatch`` is the ``rimewatch`` command."""

from rimewatch.cli import main

if __name__ == "__main__":
    main()
