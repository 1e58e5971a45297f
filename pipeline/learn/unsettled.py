"""What of a draft is still to be settled. In: the parsed draft. Out: its places marked "?", as text."""

from __future__ import annotations


def list_unsettled(spec: object, where: str = "") -> list[str]:
    """Each place of a parsed draft whose key or text begins with "?"."""
    if isinstance(spec, dict):
        found = []
        for key, value in spec.items():
            place = f"{where}.{key}" if where else key
            found += ([place] if key.startswith("?") else []) + list_unsettled(value, place)
        return found
    if isinstance(spec, list):
        return [item for number, value in enumerate(spec) for item in list_unsettled(value, f"{where}[{number}]")]
    return [f"{where} = {spec}"] if isinstance(spec, str) and spec.startswith("?") else []
