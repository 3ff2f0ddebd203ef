"""The worked example that every layer is held to: one row, eight positions, four seasons.

Every season has a dormant look in January and a summer look in August; 2023, 2024 and 2026 the
whole row, 2025 only positions 1 to 4. The table of conditions and rates was worked out by hand.
"""

from typing import Any

SEASONS = (2023, 2024, 2025, 2026)

BLOCK: dict[str, Any] = {
    "block": "G", "vineyard": "Example", "planted": 2005, "training": "bilateral", "row_spacing_m": 3.0,
    "vine_spacing_m": 2.0, "hemisphere": "north",
}  # fmt: skip
ROWS = [{"block": "G", "row": "1", "first": 1, "last": 8}]
PLANTS = [
    {"block": "G", "row": "1", "position": "6", "reason": "missing"},
    {"block": "G", "row": "1", "position": "5", "removed": "2025-01-20", "reason": "dead"},
    {"block": "G", "row": "1", "position": "5", "planted": "2025-04-10"},
]
SURVEYS = [
    {
        "survey": f"{look} {season}", "block": "G", "date": date.format(season), "look": look,
        "covered": "1:1..4" if season == 2025 else "1", "purpose": "all", "observer": "A.B.",
    }
    for season in SEASONS
    for look, date in (("dormant", "{}-01-15"), ("summer", "{}-08-15"))
]  # fmt: skip


def _finding(position: int, date: str, symptom: str, **more: Any) -> dict[str, Any]:
    return {
        "block": "G",
        "row": "1",
        "position": str(position),
        "date": date,
        "symptom": symptom,
        "observer": "A.B.",
        **more,
    }


SYMPTOMS = [
    _finding(2, "2023-08-15", "leaf_stripe"),
    _finding(2, "2026-08-15", "leaf_stripe"),
    _finding(3, "2024-08-15", "leaf_stripe"),
    _finding(4, "2024-01-15", "dead_arm", arm="start", percent=100),
    _finding(4, "2025-08-15", "leaf_stripe"),
    _finding(5, "2023-08-15", "leaf_stripe"),
    _finding(5, "2024-08-15", "dead"),
    _finding(7, "2026-08-15", "leaf_stripe"),
]
WORK = [
    {"block": "G", "row": "1", "position": "3", "date": "2025-02-10", "kind": "renew_trunk", "status": "done"},
    {"block": "G", "row": "1", "position": "4", "date": "2025-02-10", "kind": "renew_arm", "arm": "start",
     "status": "done"},
]  # fmt: skip
TABLES: dict[str, list[dict[str, Any]]] = {
    "blocks": [BLOCK], "rows": ROWS, "plants": PLANTS, "surveys": SURVEYS, "symptoms": SYMPTOMS, "work": WORK,
}  # fmt: skip

CONDITIONS = {
    2023: "sound showing sound sound showing missing sound sound",
    2024: "sound hidden showing showing dead missing sound sound",
    2025: "sound hidden renewed showing not_seen missing not_seen not_seen",
    2026: "sound showing renewed hidden young missing showing sound",
}
#: (numerator, denominator) or None; `ever` of 2025 is "at least".
RATES: dict[str, dict[int, tuple[int, int] | None]] = {
    "annual": {2023: (2, 7), 2024: (2, 6), 2025: (1, 4), 2026: (2, 6)},
    "standing": {2023: (2, 7), 2024: (3, 6), 2025: (2, 4), 2026: (3, 6)},
    "ever": {2023: (2, 7), 2024: (4, 7), 2025: (4, 7), 2026: (5, 7)},
    "new": {2023: None, 2024: (2, 5), 2025: (0, 1), 2026: (1, 3)},
    "deaths": {2023: None, 2024: (1, 7), 2025: (0, 4), 2026: (0, 4)},
}
AT_LEAST = {2025}
