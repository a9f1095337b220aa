"""Compile the numeric kernels ahead of their first use: `make setup` runs it once."""

from __future__ import annotations


def main() -> None:
    """Compile and cache every kernel of the field room."""
    from palletwright.field import compile_kernels

    compile_kernels()


if __name__ == "__main__":
    main()
