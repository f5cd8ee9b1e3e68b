"""Entry point of the ``gas-netplan`` command."""

from netplan.cli import main

__all__ = ["main"]

if __name__ == "__main__":
    main()
