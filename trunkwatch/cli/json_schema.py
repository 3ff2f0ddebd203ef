"""What the keys of `--json` mean: tables of keys beside this module, and the JSON Schema that they make.

A line of a table is a path, a type and a meaning. `[]` is an entry of a list, `*` any key, `{a,b}` several keys alike. A type
with `?` may be null, as any `num` may: a number that cannot be given is null. A type with `~` is of a key that may be left out. Keys are kept: one may be added, none is renamed or taken away.
"""

import itertools
import re
from importlib.resources import files
from pathlib import Path
from typing import Any

__all__ = ["schema_of", "verbs_with_schema"]

_TYPES: dict[str, Any] = {
    "str": "string", "int": "integer", "num": ["number", "null"], "bool": "boolean", "object": "object", "array": "array",
    "str?": ["string", "null"], "int?": ["integer", "null"], "num?": ["number", "null"], "object?": ["object", "null"],
}  # fmt: skip


def verbs_with_schema() -> tuple[str, ...]:
    """Return the verbs whose JSON has a schema."""
    folder = files("trunkwatch.cli").joinpath("json_keys")
    tables = (Path(one.name) for one in folder.iterdir())
    return tuple(sorted(table.stem for table in tables if table.suffix == ".txt"))


def schema_of(verb: str) -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a verb's `--json`.

    Raises
    ------
    KeyError
        If the verb has none.
    """
    if verb not in verbs_with_schema():
        raise KeyError(verb)
    text = files("trunkwatch.cli").joinpath("json_keys", f"{verb}.txt").read_text("utf-8")
    root: dict[str, Any] = {}
    for line in text.splitlines():
        paths, kind, meaning = re.split(r"\s+", line.strip(), maxsplit=2)
        for path in _alike(paths):
            _put(root, re.findall(r"\[\]|[^.\[\]]+", path), kind, meaning)
    root.setdefault("type", "object")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": f"trunkwatch {verb} --json", **root}


def _alike(path: str) -> list[str]:
    parts = [part.strip("{}").split(",") if part[:1] == "{" else [part] for part in re.split(r"(\{[^}]*\})", path)]
    return ["".join(one) for one in itertools.product(*parts)]


def _put(node: dict[str, Any], path: list[str], kind: str, meaning: str) -> None:
    """Enter one key, with what lies on the way to it."""
    for key in path:
        if key == "[]":
            node.setdefault("type", "array")
            node = node.setdefault("items", {})
            continue
        if "type" not in node:
            node["type"] = "object"
        if key == "*":
            if not isinstance(node.get("additionalProperties"), dict):
                node["additionalProperties"] = {}
            node = node["additionalProperties"]
            continue
        node.setdefault("additionalProperties", False)
        properties = node.setdefault("properties", {})
        if key not in properties and "~" not in kind:
            node.setdefault("required", []).append(key)
        node = properties.setdefault(key, {})
    if kind.strip("~") != "any":
        node["type"] = _TYPES[kind.strip("~")]
    node["description"] = meaning
