"""Compile the numeric kernels ahead of their first use: `make setup` runs it once."""

from __future__ import annotations


def main() -> None:
    """Compile and cache every kernel of the field and holding rooms."""
    from palletwright import field, holding

    field.compile_kernels()
    holding.compile_kernels()


if __name__ == "__main__":
    main()
