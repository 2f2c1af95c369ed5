"""The fields of the keying page, as a browser would send them."""

from __future__ import annotations

ITEMS = ("1", "2", "3", "4", "G1", "G2")


def fields(mark: str = "65", *, version: int = 0, errors_base: int = 0, **changes: str) -> dict[str, str]:
    """Return a sheet with the same typed mark for every item; ``mark_2="7"`` and the like change single fields."""
    found = {f"mark-{item}": mark for item in ITEMS} | {f"remark-{item}": "" for item in ITEMS}
    found |= {"version": str(version), "errors_base": str(errors_base), "errors": str(errors_base)}
    found |= {"overall": "", "total": "", "given_kind": "points", "given": "", "then": ""}
    for name, value in changes.items():
        kind, _, item = name.partition("_")
        found[f"{kind}-{item}" if item in ITEMS else name] = value
    return found
