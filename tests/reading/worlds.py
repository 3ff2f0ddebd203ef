"""Random vineyards for tests: blocks, rows, plants, looks, findings and work as written records, every version of them.

A few busy vines of each block are hit again and again, so that findings, work, plantings and silence meet on them.
Everything is drawn small and valid: labels are those of the day, arms are those of the training.
"""

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any

from hypothesis import strategies as st

Record = dict[str, object]
Table = list[Record]
Tables = dict[str, Table]

NAMES = ("blocks", "rows", "plants", "surveys", "symptoms", "work")
SIDES = ("start", "end")
ARMS = {
    "unilateral": SIDES,
    "bilateral": SIDES,
    "double_wire": ("upper_start", "upper_end", "lower_start", "lower_end"),
    "divided": ("near_start", "near_end", "far_start", "far_end"),
    "cane_2": ("head", *SIDES),
    "head": ("head",),
    "multi_trunk": ("head", *SIDES),
}
LASTING = ("dead_arm", "dead_trunk", "dead_spurs", "canker")
OTHERS = (
    "leaf_stripe",
    "leaf_stripe",
    "collapse",
    "stunted_shoots",
    "none",
    "none",
    "not_seen",
    "dead",
    "berry_spots",
    "crowded_shoots",
    "wood_staining",
    "crown_gall",
    "mechanical_injury",
    "water_stress",
    "mummies",
    "old_wood_left",
)
ALWAYS_ON_ARM = ("dead_arm", "dead_spurs", "stunted_shoots")
HAVE_PERCENT = (*LASTING, "leaf_stripe", "collapse", "stunted_shoots")
SHOOTS = ("trunk", "above_union", "own_root", "below_union", "none")
QUALITIES = ("good", "too_vigorous", "unripe", "thin")
NOT_DONE = ("no_shoot", "vine_gone", "looks_sound", "other")
CLEARING = ("renew_arm", "renew_trunk", "cut_old_trunk", "regraft")
OTHER_WORK = (
    "mark",
    "keep_shoot",
    "train",
    "train_first",
    "curettage",
    "protect_wound",
    "lab_sample",
    "clear_mummies",
    "watch",
)
OBSERVERS = ("", "Ilse", "Ilse", "Oskar")
PLACE = ("row", "position", "bay", "vine")
KINDS = ("dormant", "spring", "summer")


def weighted(*choices: tuple[int, object]) -> st.SearchStrategy[Any]:
    """Return a strategy that takes each choice as often as its weight says; the first is the simplest."""
    return st.sampled_from([choice for weight, choice in choices for _ in range(weight)])


@dataclass
class Row:
    """A row of a world: its labels by day, its positions and its bays."""

    labels: list[tuple[date, date, str]]
    first: int
    last: int
    bay_ends: str

    def label(self, day: date) -> str:
        """Return the label that it bears on a day."""
        return next(label for since, until, label in self.labels if since <= day <= until)

    def bays(self) -> list[tuple[int, int]]:
        """Return first and last position of each bay."""
        if self.bay_ends.startswith("every"):
            step = int(self.bay_ends.split()[1])
            ends = list(range(self.first + step - 1, self.last + step, step))
        else:
            ends = [int(end) for end in self.bay_ends.split(";") if end]
        bays, start = [], self.first
        for end in ends:
            bays.append((start, min(end, self.last)))
            start = end + 1
        return [bay for bay in bays if bay[0] <= bay[1]]


@dataclass
class World:
    """One block while it is being written."""

    draw: Any
    block: str
    south: bool
    training: str
    planted: int | None
    seasons: list[int]
    rows: list[Row] = field(default_factory=list)
    busy: list[tuple[Row, int]] = field(default_factory=list)
    tables: Tables = field(default_factory=lambda: {name: [] for name in NAMES})

    def pick(self, *choices: tuple[int, object]) -> Any:
        """Draw one of weighted choices."""
        return self.draw(weighted(*choices))

    def chance(self, of_ten: int) -> bool:
        """Draw whether something happens, as often as so many times in ten."""
        return bool(self.pick((10 - of_ten, False), (of_ten, True)))

    def between(self, low: int, high: int) -> int:
        """Draw a whole number."""
        return int(self.draw(st.integers(low, high)))

    def write(self, table: str, **cells: object) -> Record:
        """Write a record down with an id of its own."""
        record: Record = {"block": self.block, **cells, "id": f"{self.block}-{table}-{len(self.tables[table]) + 1}"}
        self.tables[table].append(record)
        return record

    def begins(self, season: int, kind: str) -> date:
        """Return the first dormant, spring or summer day of a season."""
        north = {"dormant": date(season - 1, 11, 1), "spring": date(season, 4, 1), "summer": date(season, 7, 1)}
        south = {"dormant": date(season - 1, 5, 1), "spring": date(season - 1, 10, 1), "summer": date(season, 1, 1)}
        return (south if self.south else north)[kind]

    def day(self, season: int, kind: str) -> date:
        """Draw a day of that kind in a season."""
        return self.begins(season, kind) + timedelta(days=self.between(0, 90))

    def any_day(self) -> date:
        """Draw a day of any kind in the seasons of the world."""
        season = self.draw(st.sampled_from(self.seasons))
        return self.day(season, self.draw(st.sampled_from(KINDS)))

    def vine(self) -> tuple[Row, int]:
        """Draw a vine, a busy one mostly."""
        if not self.chance(2):
            busy: tuple[Row, int] = self.draw(st.sampled_from(self.busy))
            return busy
        row = self.draw(st.sampled_from(self.rows))
        return row, self.between(row.first, row.last)

    def place(self, row: Row, position: int, day: date) -> Record:
        """Name a vine by position or, where the row has bays, sometimes by bay and vine."""
        bays = row.bays()
        inside = [number for number, (first, last) in enumerate(bays, 1) if first <= position <= last]
        if inside and self.chance(3):
            vine = float(position - bays[inside[0] - 1][0] + 1)
            return {"row": row.label(day), "bay": str(inside[0]), "vine": vine}
        return {"row": row.label(day), "position": str(position)}

    def trunk(self) -> float | None:
        """Draw a trunk number, none mostly."""
        number: float | None = self.pick((4, None), (2, 1.0), (1, 2.0))
        return number

    def arm(self) -> str:
        """Draw an arm of the training, or none."""
        return str(self.draw(st.sampled_from(("", "", *ARMS[self.training]))))


# The block and its rows


def lay_rows(world: World, count: int) -> None:
    """Lay the rows of a block; sometimes a row is renamed on a day, or two rows change their labels."""
    change = world.pick((5, "none"), (2, "renamed"), (2 if count > 1 else 0, "swapped"))
    labels = [str(number) for number in range(1, count + 1)]
    before, after = list(labels), list(labels)
    if change == "renamed":
        before[0] = "old"
    if change == "swapped":
        before[0], before[1] = before[1], before[0]
    day = world.any_day() if change != "none" else date.min
    ordered = change != "none" or world.chance(6)
    for number in range(count):
        first = world.pick((5, 1), (1, 2), (1, 5), (1, 0))
        last = first + world.between(2, 8)
        bay_ends = world.pick((3, ""), (2, "every 3"), (1, f"{first + 1};{last}"))
        common: Record = {"first": float(first), "last": float(last), "bay_ends": bay_ends}
        if ordered:
            common["row_order"] = float(number + 1)
        if before[number] == after[number]:
            row_labels = [(date.min, date.max, after[number])]
            world.write("rows", row=after[number], **common)
        else:
            eve = day - timedelta(days=1)
            row_labels = [(date.min, eve, before[number]), (day, date.max, after[number])]
            world.write("rows", row=before[number], valid_to=eve.isoformat(), **common)
            world.write("rows", row=after[number], valid_from=day.isoformat(), **common)
        world.rows.append(Row(row_labels, first, last, bay_ends))
    for _ in range(world.between(1, 4)):
        row = world.draw(st.sampled_from(world.rows))
        world.busy.append((row, world.between(row.first, row.last)))


def lay_block(draw: Any, block: str, south: bool, prefix: str = "") -> World:
    """Draw a block without plants and looks."""
    first = draw(st.integers(2014, 2020))
    seasons = list(range(first, first + draw(weighted((1, 2), (1, 3), (1, 4), (2, 5), (2, 6), (3, 7)))))
    planted = draw(weighted((5, 2000), (1, None), (2, first - 1), (1, first - 3), (1, first + 1)))
    training = draw(st.sampled_from(sorted(ARMS)))
    world = World(draw, block, south, training, planted, seasons)
    about: Record = {"training": training, "planted": None if planted is None else float(planted)}
    if draw(st.booleans()):
        about["latitude"] = -33.5 if south else 47.25
    else:
        about["hemisphere"] = "south" if south else world.pick((1, ""), (1, "north"))
    if prefix:
        about["vineyard"] = prefix
    world.write("blocks", **about)
    lay_rows(world, world.between(1, 4))
    return world


# Plants


def plant_vines(world: World) -> None:
    """Write missing vines, removals and plantings down, with days or bare years."""
    for _ in range(world.between(0, 4)):
        row, position = world.vine()
        what = world.pick((2, "missing"), (3, "removed"), (3, "planted"), (3, "replanted"), (1, "first"))
        day = world.any_day()
        later = day + timedelta(days=world.pick((1, 0), (2, 90), (1, 400)))
        last = world.rows and row.labels[-1][2]
        if what == "missing":
            world.write("plants", row=last, position=str(position), reason="missing")
        if what in ("removed", "replanted"):
            removed, reason = written_day(world, day), world.pick((2, "dead"), (1, "replaced"), (1, ""))
            world.write("plants", row=row.label(day), position=str(position), removed=removed, reason=reason)
        if what in ("planted", "replanted"):
            at = later if what == "replanted" else day
            world.write("plants", row=row.label(at), position=str(position), planted=written_day(world, at))
        if what == "first" and world.planted is not None and len(row.labels) == 1:
            cells: Record = {"planted": str(world.planted)}
            if world.chance(5):
                cells["removed"] = day.isoformat()
            world.write("plants", row=last, position=str(position), **cells)


def written_day(world: World, day: date) -> str:
    """Write a day down, or its bare year."""
    return str(day.year) if world.chance(3) and len(world.rows[0].labels) == 1 else day.isoformat()


# Looks


def covered(world: World, day: date, living: bool) -> str:
    """Draw what a look covers: the whole block mostly, else rows, positions and steps."""
    labels = [row.label(day) for row in world.rows]
    if not world.chance(3):
        skipped = world.pick((6, ""), (1, "/2")) if len(labels) > 1 else ""
        return labels[0] if len(labels) == 1 else f"{labels[0]}..{labels[-1]}{skipped}"
    parts = []
    for _ in range(world.between(1, 3)):
        row = world.draw(st.sampled_from(world.rows))
        low, high = (1, row.last - row.first + 1) if living else (row.first, row.last)
        first = world.between(low, high)
        last = world.between(first, high)
        step = world.pick((3, ""), (1, "/2"), (1, "/3"))
        parts.append(world.pick((3, f"{row.label(day)}:{first}..{last}{step}"), (1, row.label(day))))
    return "; ".join(parts)


def look_round(world: World) -> list[Record]:
    """Write the looks of all seasons down; some years are skipped."""
    looks = []
    for season in world.seasons:
        if world.chance(1):
            continue
        usual = world.pick((6, ("dormant", "summer")), (2, ("summer",)), (1, ("dormant",)), (1, ("spring", "summer")))
        more = [world.pick(*((1, kind) for kind in KINDS)) for _ in range(world.pick((5, 0), (3, 1), (1, 2)))]
        looks += [a_look(world, season, kind) for kind in (*usual, *more)]
        if looks and world.chance(2):
            looks.append(beside(world, looks[-1]))
    return looks


def a_look(world: World, season: int, kind: str) -> Record:
    """Write one look down."""
    day = world.begins(season, kind) + timedelta(days=world.pick((3, 40), (1, 0), (1, 15), (1, 75), (1, 88)))
    cells: Record = {"date": day.isoformat()}
    if world.chance(3):
        cells["until"] = (day + timedelta(days=world.pick((2, 2), (1, 9), (1, 20)))).isoformat()
    counting = world.pick((8, ""), (1, "positions"), (1, "living_vines"))
    return world.write(
        "surveys",
        survey=world.pick((3, f"{kind} {season}"), (1, ""), (1, "b")),
        look=world.pick((5, ""), (5, kind), (1, "spring")),
        covered=covered(world, day, counting == "living_vines"),
        counted_from=world.pick((6, ""), (1, "start"), (2, "end")),
        counting=counting,
        purpose=world.pick(
            (9, ""), (2, "all"), (1, "leaf_stripe"), (1, "dead_arm; canker"), (1, "dead_trunk"), (2, "recheck")
        ),
        observer=world.draw(st.sampled_from(OBSERVERS)),
        **cells,
    )


def beside(world: World, look: Record) -> Record:
    """Write down a look beside another: a second person, or a blind second look on the same day or soon after."""
    day = date.fromisoformat(str(look["date"])) + timedelta(days=world.pick((3, 0), (1, 1), (1, 6)))
    cells = {name: look[name] for name in ("survey", "look", "counting", "counted_from")}
    return world.write(
        "surveys",
        date=day.isoformat(),
        covered=covered(world, day, look["counting"] == "living_vines"),
        purpose=world.pick((2, "recheck"), (1, ""), (1, "recheck; all")),
        observer=world.draw(st.sampled_from(OBSERVERS)),
        **cells,
    )


# Findings


def details(world: World, symptom: str) -> Record:
    """Draw trunk, arm, share, cause and shoot of a finding."""
    cells: Record = {"symptom": symptom}
    if symptom in LASTING or world.chance(2):
        cells["trunk"] = world.trunk()
        if symptom in (*ALWAYS_ON_ARM, "canker", "leaf_stripe"):
            cells["arm"] = world.arm()
    if symptom == "dead_spurs":
        share = world.pick((2, "none"), (1, "few"), (1, "many"), (1, "percent"), (1, "small"))
        written: dict[str, Record] = {
            "few": {"dead": 1.0, "total": 14.0},
            "many": {"dead": 2.0, "total": 20.0},
            "percent": {"percent": 40.0},
            "small": {"percent": 9.0},
        }
        cells |= written.get(str(share), {})
    if symptom == "wood_staining":
        stains: dict[str, Record] = {
            "clean": {"stain_cm": 0.0},
            "pattern": {"stain_cm": 0.0, "pattern": "wedge"},
            "stained": {"stain_cm": 10.0},
        }
        cells |= stains.get(str(world.pick((2, "clean"), (1, "pattern"), (1, "stained"), (1, "not said"))), {})
    cells |= shares(world, symptom)
    if world.chance(2):
        cells["cause"] = world.pick((2, "winter_injury"), (1, "both"), (1, "trunk_disease"), (1, "unknown"))
    if world.chance(2):
        cells["renewal_shoot"] = world.draw(st.sampled_from(SHOOTS))
    if world.chance(2):  # without a shoot too: nothing is said of it then
        cells["shoot_quality"] = world.draw(st.sampled_from(QUALITIES))
    return cells


def shares(world: World, symptom: str) -> Record:
    """Draw how much of a part is affected and how much of the vine is empty."""
    cells: Record = {}
    if symptom in HAVE_PERCENT and world.chance(3):
        cells["percent"] = world.pick((1, 0.0), (1, 9.0), (2, 40.0), (1, 100.0))
    if symptom in LASTING and world.chance(1):
        cells["empty_percent"] = world.pick((1, 0.0), (1, 25.0), (1, 60.0))
    return cells


def day_by(world: World, look: Record) -> date:
    """Draw a day inside a look mostly, else a few days before or after it."""
    first = date.fromisoformat(str(look["date"]))
    last = date.fromisoformat(str(look.get("until") or look["date"]))
    inside = first + timedelta(days=world.between(0, (last - first).days))
    day: date = world.pick(
        (16, inside),
        (1, first - timedelta(days=1)),
        (1, first - timedelta(days=14)),
        (1, last + timedelta(days=14)),
        (1, last + timedelta(days=15)),
    )
    return day


def finding_at(world: World, look: Record, row: Row, position: int, **cells: object) -> Record:
    """Write down what was seen at a look or near it, counted as the look was counted mostly."""
    day = day_by(world, look)
    place = world.place(row, position, day)
    own_end = world.pick((7, ""), (1, "start"), (1, "end"))
    end = own_end == "end" or (own_end == "" and look["counted_from"] == "end")
    if "position" in place and end and world.chance(8):
        place["position"] = str(row.last - (position - row.first))
    observer = world.pick((5, look["observer"]), (1, ""), (1, "Oskar"), (1, "Mette"))
    return world.write("symptoms", date=day.isoformat(), counted_from=own_end, observer=observer, **place, **cells)


def scattered_findings(world: World, looks: list[Record]) -> None:
    """Write single findings down, inside looks mostly, some far from any."""
    for _ in range(world.between(0, 14)):
        row, position = world.vine()
        symptom = world.draw(st.sampled_from(LASTING if world.chance(4) else OTHERS))
        if looks and not world.chance(1):
            look = world.draw(st.sampled_from(looks))
            finding_at(world, look, row, position, **details(world, symptom))
        else:
            day = world.any_day()
            cells = details(world, symptom)
            world.write("symptoms", date=day.isoformat(), **world.place(row, position, day), **cells)


def stories(world: World, looks: list[Record]) -> None:
    """Follow busy vines through the looks: what they have is written again, passed over, or `none` is written."""
    for row, position in world.busy:
        symptom = world.draw(st.sampled_from((*LASTING, "leaf_stripe", "leaf_stripe", "collapse")))
        cells = details(world, symptom)
        faithful = world.pick((6, 9), (2, 5), (1, 1))
        # Some stories begin late, so that there are first cases, and some fall silent for good, so that silence speaks.
        begins = world.pick((3, 0), (1, 1), (1, 2), (1, 4))
        silent_after = begins + world.pick((1, 1), (2, 3), (3, 5), (3, 7), (2, 10), (1, 14))
        for look in looks[begins:silent_after]:
            leaf_in_winter = symptom in ("leaf_stripe", "collapse") and "summer" not in (
                look["look"],
                kind_of(world, look),
            )
            if world.chance(faithful) and not leaf_in_winter:
                finding_at(world, look, row, position, **cells)
                cells = details(world, symptom) if world.chance(1) else cells
        for look in looks[silent_after:][:2]:
            last_words = world.pick((5, ""), (3, "none"), (3, "dead"), (1, "not_seen"))
            if last_words:
                finding_at(world, look, row, position, symptom=last_words)
        if looks and world.chance(3):
            finding_at(world, world.draw(st.sampled_from(looks)), row, position, symptom="none")


def long_stories(world: World, looks: list[Record]) -> None:
    """Write the same damage down at every bare look but a few, on several vines, then fall silent on some of them."""
    bare = [look for look in looks if "summer" not in (look["look"], kind_of(world, look))]
    for count in range(world.between(1, 4)):
        row = world.draw(st.sampled_from(world.rows))
        position = min(row.first + count, row.last)
        cells = details(world, world.draw(st.sampled_from(LASTING)))
        silent = world.pick((2, 3), (1, 2), (1, 0))
        for look in bare[: len(bare) - silent]:
            if not world.chance(1):
                finding_at(world, look, row, position, **cells)


def kind_of(world: World, look: Record) -> str:
    """Return the kind of a look by its first day."""
    day = date.fromisoformat(str(look["date"]))
    season = day.year + 1 if day.month >= (5 if world.south else 11) else day.year
    return max(KINDS, key=lambda kind: world.begins(season, kind) if world.begins(season, kind) <= day else date.min)


def more_of_a_day(world: World) -> None:
    """Write more down of a vine on the day of a finding, by the same person; the times tell which was written last."""
    for _ in range(world.pick((3, 0), (2, 1), (1, 3)) if world.tables["symptoms"] else 0):
        earlier = world.draw(st.sampled_from(world.tables["symptoms"]))
        day = str(earlier["date"])
        same = {name: earlier[name] for name in (*PLACE, "date", "counted_from", "observer") if name in earlier}
        symptom = earlier["symptom"] if world.chance(5) else world.draw(st.sampled_from((*LASTING, "leaf_stripe")))
        cells = details(world, str(symptom))
        if world.chance(7):
            cells["renewal_shoot"] = world.draw(st.sampled_from(SHOOTS))
        if "recorded_at" not in earlier and world.chance(5):
            earlier["recorded_at"] = world.pick((2, f"{day}T12:00:00"), (1, f"{day}T08:30:00"))
        when = world.pick((1, ""), (2, f"{day}T08:30:00"), (1, f"{day}T12:00:00"), (1, f"{day}T17:45:00"))
        world.write("symptoms", **same, **cells, **({"recorded_at": when} if when else {}))


# Work


def do_work(world: World) -> None:
    """Write work of all kinds and statuses down, often soon after a finding on the same vine."""
    findings = [record for record in world.tables["symptoms"] if record.get("position")]
    for _ in range(world.between(0, 6)):
        row, position = world.vine()
        day = world.any_day()
        if findings and world.chance(6):
            finding = world.draw(st.sampled_from(findings))
            seen = date.fromisoformat(str(finding["date"]))
            day = seen + timedelta(days=world.pick((1, 0), (2, 30), (1, 200), (1, -1)))
            named = [other for other in world.rows if other.label(seen) == finding["row"]]
            row, position = named[0], int(str(finding["position"]))
        group = world.pick((6, CLEARING), (2, ("replant", "remove")), (2, OTHER_WORK))
        kind = world.draw(st.sampled_from(group))
        arm = world.arm() if kind == "renew_arm" or world.chance(1) else ""
        place = world.place(row, position, day)
        status = world.pick((3, ""), (5, "done"), (1, "planned"), (1, "dropped"))
        said: Record = {}
        if status == "dropped" and world.chance(5):
            said["not_done"] = world.draw(st.sampled_from(NOT_DONE))
        if kind in CLEARING and world.chance(2):
            said["wound_protected"] = world.pick((1, "yes"), (1, "no"))
        world.write(
            "work", date=day.isoformat(), kind=kind, trunk=world.trunk(), arm=arm, status=status, **said, **place
        )


# Versions


def amend(world: World) -> None:
    """Correct records, correct corrections, take records back, and write the same down again."""
    written = [name for name in ("plants", "surveys", "symptoms", "work") if world.tables[name]]
    for step in range(world.between(0, 6) if written else 0):
        table = world.draw(st.sampled_from([*written, *(["symptoms"] * 3 if "symptoms" in written else [])]))
        records = world.tables[table]
        # The latest records are drawn often, so that chains grow.
        record = records[-1] if world.chance(3) else world.draw(st.sampled_from(records))
        plain = {name: cell for name, cell in record.items() if name not in ("id", "corrects", "void", "recorded_at")}
        how = world.pick((4, "corrected"), (3, "taken back"), (2, "written again"))
        if how == "written again":
            world.write(table, **plain)
            continue
        when = world.pick((4, f"2030-01-{step + 1:02d}"), (1, "2030-01-02"), (1, ""), (1, "2030-01-02T10:00:00"))
        if how == "corrected":
            plain |= changed(world, table, plain)
        else:
            plain["void"] = "yes"
        world.write(table, **{**plain, "corrects": record["id"], "recorded_at": when})


def changed(world: World, table: str, cells: Record) -> Record:
    """Draw what a correction says otherwise."""
    choices: dict[str, tuple[Record, ...]] = {
        "symptoms": ({"symptom": "dead_arm"}, {"symptom": "leaf_stripe"}, {"trunk": 1.0}, {}),
        "work": ({"status": "done"}, {"kind": "renew_trunk"}, {"status": "planned"}),
        "surveys": ({"purpose": ""}, {"observer": "Ilse"}, {"purpose": "recheck"}),
        "plants": ({"removed": world.any_day().isoformat()} if cells.get("removed") else {},),
    }
    otherwise: Record = world.draw(st.sampled_from(choices[table]))
    return otherwise


# Whole vineyards


def write_block(draw: Any, block: str, south: bool, prefix: str = "") -> Tables:
    """Draw one block with all that was written of it."""
    world = lay_block(draw, block, south, prefix)
    plant_vines(world)
    looks = look_round(world)
    if world.chance(4):
        long_stories(world, looks)
    stories(world, looks)
    scattered_findings(world, looks)
    more_of_a_day(world)
    do_work(world)
    amend(world)
    return world.tables


def together(parts: list[Tables]) -> Tables:
    """Put the tables of several blocks together."""
    return {name: [record for part in parts for record in part[name]] for name in NAMES}


def of_block(tables: Tables, block: str) -> Tables:
    """Return the records of one block."""
    return {name: [record for record in table if record["block"] == block] for name, table in tables.items()}


@st.composite
def vineyards(draw: st.DrawFn) -> Tables:
    """Draw a vineyard of one or two blocks, labelled A and B: every version of every record."""
    south = draw(st.booleans())
    labels = draw(weighted((3, ("A",)), (1, ("A", "B"))))
    return together([write_block(draw, label, south) for label in labels])


@st.composite
def two_growers(draw: st.DrawFn) -> Tables:
    """Draw two vineyards that both have a block A; every record names its vineyard, ids are apart."""
    parts = []
    for vineyard in ("Upper", "Lower"):
        tables = write_block(draw, "A", draw(st.booleans()), vineyard)
        for table in tables.values():
            for record in table:
                record["vineyard"] = vineyard
                record["id"] = f"{vineyard}-{record['id']}"
                if record.get("corrects"):
                    record["corrects"] = f"{vineyard}-{record['corrects']}"
        parts.append(tables)
    return together(parts)
