"""Plants, looks and findings for the reference: sections 3 to 6 of the rules of reading.

How a rule that can be read in two ways is read stands at the top of ``reference.py`` (Q1 and so on).
"""

import re
from dataclasses import dataclass, field
from datetime import date

from reading.laid import (
    ONE_DAY,
    Calendar,
    Ground,
    Record,
    RowLine,
    Table,
    Vine,
    as_range,
    number,
    real_day,
    standing,
    text,
    whole,
    words,
)

TRUNK_WORK = ("renew_trunk", "cut_old_trunk", "regraft")
ON_AN_ARM = ("dead_arm", "dead_spurs", "stunted_shoots", "canker")


def is_clean_face(record: Record) -> bool:
    """Whether a finding is a look at the face of a cut that was clean (14)."""
    return (
        text(record, "symptom") == "wood_staining" and number(record, "stain_cm") == 0 and not text(record, "pattern")
    )


# Plants (4)


@dataclass
class Plant:
    """A plant in a position: its days, both included, the reasons written for its removal and the day of that."""

    first: bool
    start: date
    end: date
    reasons: set[str] = field(default_factory=set)
    removed: date | None = None


@dataclass(frozen=True)
class PlantLine:
    """One line of the plants that names a vine of the block, or done work that removes or replants."""

    vine: Vine
    planted: date | None
    begins: bool
    removed: date | None
    removed_year: int | None
    reason: str


@dataclass(frozen=True)
class Work:
    """One piece of done work on a plant."""

    day: date
    kind: str
    trunk: int
    arm: str
    vine: Vine
    plant: int | None


@dataclass
class Look:
    """One look: its days, kind, what was looked for, and the vines that it covers."""

    day: date
    until: date
    name: str
    observer: str
    kind: str
    season: int
    purposes: list[str]
    record: Record
    walked: set[Vine] = field(default_factory=set)
    vines: set[Vine] = field(default_factory=set)
    living: dict[str, list[int]] = field(default_factory=dict)
    rows: set[str] = field(default_factory=set)
    place: int = 0

    @property
    def second(self) -> bool:
        """Whether it is a blind second look."""
        return "recheck" in self.purposes

    @property
    def bare(self) -> bool:
        """Whether it is of the class of bare looks."""
        return self.kind != "summer"

    def looked_for(self, *symptoms: str) -> bool:
        """Whether everything was looked for, or any of these."""
        return not self.purposes or "all" in self.purposes or any(name in self.purposes for name in symptoms)

    def goes_on(self, day: date) -> bool:
        """Whether a day is one of its days."""
        return self.day <= day <= self.until

    def days_off(self, day: date) -> int:
        """Return how far a day lies from the look."""
        return 0 if self.goes_on(day) else min(abs((day - self.day).days), abs((day - self.until).days))


@dataclass
class Finding:
    """One finding that names a vine, with its part (5), plant and look."""

    id: str
    day: date
    season: int
    symptom: str
    trunk: int
    arm: str
    observer: str
    cause: str
    share: float | None
    vine: Vine
    plant: int | None
    clean_face: bool = False
    look: Look | None = None
    second: bool = False
    covered: bool = False
    kind: str = ""

    @property
    def part(self) -> tuple[int, str]:
        """Return trunk (0: not said) and arm ("": not said, or not of an arm) of the part of the vine (5)."""
        return self.trunk, self.arm if self.symptom in ON_AN_ARM else ""

    def may_be_the_part_of(self, other: "Finding") -> bool:
        """Whether it is of the same plant, and no trunk or arm of its part contradicts that of another finding (5)."""
        (trunk, arm), (trunk_2, arm_2) = self.part, other.part
        same_plant = (self.vine, self.plant) == (other.vine, other.plant)
        return same_plant and same(trunk, trunk_2) and same(arm, arm_2)

    def mentions(self, other: "Finding") -> bool:
        """Whether it mentions a damage (7)."""
        return self.symptom == other.symptom and self.may_be_the_part_of(other)

    def begins(self) -> date:
        """Return the first of its day and its look's days."""
        return min(self.day, self.look.day) if self.look else self.day

    def ends(self) -> date:
        """Return the last of its day and its look's days."""
        return max(self.day, self.look.until) if self.look else self.day


def same(written: object, other: object) -> bool:
    """Whether two things may be the same: what is not said matches all."""
    return not written or not other or written == other


def takes(work: Work, finding: Finding) -> bool:
    """Whether work takes away the part of a finding of the same plant, on its day or later (7)."""
    if (work.vine, work.plant) != (finding.vine, finding.plant) or work.day < finding.day:
        return False
    trunk, arm = finding.part
    if work.kind in TRUNK_WORK:
        return same(work.trunk, trunk)
    on_an_arm = finding.symptom in ON_AN_ARM
    return work.kind == "renew_arm" and on_an_arm and same(work.arm, arm) and same(work.trunk, trunk)


def bare_year(written: str) -> int | None:
    """Return the year that is written as YYYY, None where it is not."""
    return int(written) if re.fullmatch(r"\d{4}", written) else None


def day_of_line(written: str) -> date | None:
    """Return the day on which a line of the plants names its row (3): of a bare year 1 July."""
    year = bare_year(written)
    return date(year, 7, 1) if year else real_day(written)


class Block:
    """One block, read step by step in the order of the rules."""

    def __init__(self, tables: dict[str, Table], block: str, through: int | None) -> None:
        def table(name: str) -> Table:
            records = standing(tables.get(name, []))
            return [record for record in records if text(record, "block") in ("", block)]

        about = (table("blocks") or [{}])[-1]
        latitude = number(about, "latitude")
        side = text(about, "hemisphere") or ("south" if latitude is not None and latitude < 0 else "north")
        self.calendar = Calendar(side == "south")
        self.planted = whole(about, "planted")
        self.through = through
        self.ground = Ground(table("rows"))
        self.dated = {name: self.with_days(table(name)) for name in ("surveys", "symptoms", "work")}
        self.plants = self.read_plants(table("plants"))
        self.work = [work for work in map(self.read_work, self.done_work()) if work]
        looks = [self.read_look(day, record) for day, record in self.dated["surveys"]]
        self.all_looks = sorted(looks, key=lambda look: (look.day, look.until, look.name, look.observer))
        self.looks = [look for look in self.all_looks if not look.second]
        for place, look in enumerate(self.looks):
            look.place = place
        self.findings: list[Finding] = []
        self.read_findings()
        self.join_findings_and_looks()
        self.enter = [finding for finding in self.findings if not finding.second and finding.plant is not None]

    def is_read(self, day: date) -> bool:
        """Whether a day lies in the seasons that are read."""
        return self.through is None or self.calendar.season(day) <= self.through

    def with_days(self, table: Table) -> list[tuple[date, Record]]:
        """Return the records with a real day in the seasons that are read."""
        days = [(real_day(text(record, "date")), record) for record in table]
        return [(day, record) for day, record in days if day and self.is_read(day)]

    # Plants (4)

    def done_work(self) -> list[tuple[date, Record]]:
        """Return the records of done work."""
        return [(day, record) for day, record in self.dated["work"] if text(record, "status") in ("", "done")]

    def vine_of(self, record: Record, day: date | None) -> Vine | None:
        """Return the vine that a record names as labelled on a day."""
        place = self.ground.labelled(record, day)
        return self.ground.vine(place[0], place[1]) if place else None

    def plant_line(self, record: Record) -> PlantLine | None:
        """Return a line of the plants that names a vine of the block."""
        planted, removed = text(record, "planted"), text(record, "removed")
        vine = self.vine_of(record, day_of_line(removed) or day_of_line(planted))
        if vine is None:
            return None
        year = bare_year(planted)
        begin = self.calendar.first_day(year) if year else real_day(planted)
        first = begin is not None and self.planted is not None and int(planted[:4]) <= self.planted
        return PlantLine(
            vine=vine,
            planted=begin,
            begins=begin is not None and not first,
            removed=real_day(removed),
            removed_year=bare_year(removed),
            reason=text(record, "reason"),
        )

    def work_line(self, day: date, record: Record) -> PlantLine | None:
        """Return done work that removes or replants."""
        vine, kind = self.vine_of(record, day), text(record, "kind")
        if vine is None or kind not in ("replant", "remove"):
            return None
        replant = kind == "replant"
        return PlantLine(vine, day if replant else None, replant, None if replant else day, None, "")

    def removal_day(self, line: PlantLine, lines: list[PlantLine]) -> date | None:
        """Return the day of a removal; of a bare year it hangs on what was planted in that year or season."""
        if line.removed_year is None:
            return line.removed
        own = line.planted or date.min
        plantings = [other.planted for other in lines if other.begins and other.planted and other.planted > own]
        year = line.removed_year
        first = min((day for day in plantings if year in (day.year, self.calendar.season(day))), default=None)
        return first - ONE_DAY if first else date(year, 12, 31)

    def read_plants(self, records: Table) -> dict[Vine, list[Plant]]:
        """Return the plants of every position, in order."""
        lines: dict[Vine, list[PlantLine]] = {vine: [] for vine in self.ground.vines}
        written = [self.plant_line(record) for record in records]
        written += [self.work_line(day, record) for day, record in self.done_work()]
        for line in written:
            if line:
                lines[line.vine].append(line)
        return {vine: self.plants_of(of_vine) for vine, of_vine in lines.items()}

    def plants_of(self, lines: list[PlantLine]) -> list[Plant]:
        """Return the plants of one position, from its removals (0) and plantings (1) in order."""
        dates = [(line, self.removal_day(line, lines)) for line in lines]
        empty = any(line.reason == "missing" and not line.planted and not removed for line, removed in dates)
        plants = [] if empty else [Plant(True, date.min, date.max)]
        events = [(removed, 0, line.reason) for line, removed in dates if removed]
        events += [(line.planted, 1, "") for line in lines if line.begins and line.planted]
        for day, planting, reason in sorted(events):
            last = plants[-1] if plants else None
            if not planting:
                # On the day of its removal a plant still stands: told twice on one day, both tell of it.
                if last and last.end >= day:
                    last.end = last.removed = day
                    last.reasons.add(reason)
                continue
            standing_now = last is not None and last.end == date.max
            if (
                last
                and standing_now
                and not last.first
                and self.calendar.season(last.start) == self.calendar.season(day)
            ):
                continue
            if last and last.end >= day:
                last.end = day - ONE_DAY
            plants.append(Plant(False, day, date.max))
        return plants

    def plant_on(self, vine: Vine, day: date) -> int | None:
        """Return which plant of a position stands on a day."""
        plants = enumerate(self.plants[vine])
        return next((index for index, plant in plants if plant.start <= day <= plant.end), None)

    def read_work(self, dated: tuple[date, Record]) -> Work | None:
        """Return done work on a vine of the block."""
        day, record = dated
        vine = self.vine_of(record, day)
        if vine is None:
            return None
        trunk, kind = whole(record, "trunk") or 0, text(record, "kind")
        return Work(day, kind, trunk, text(record, "arm"), vine, self.plant_on(vine, day))

    # Looks and findings (2, 3, 6)

    def read_look(self, day: date, record: Record) -> Look:
        """Return a look; what it covers is filled in when all findings before it are read."""
        until = real_day(text(record, "until"))
        return Look(
            day=day,
            until=until if until and until > day else day,
            name=text(record, "survey"),
            observer=text(record, "observer"),
            kind=text(record, "look") or self.calendar.kind(day),
            season=self.calendar.season(day),
            purposes=words(text(record, "purpose")),
            record=record,
        )

    def read_findings(self) -> None:
        """Read looks and findings day by day: how vines are counted hangs on what was found dead before."""
        days = {day for day, _ in self.dated["symptoms"]} | {look.day for look in self.all_looks}
        for today in sorted(days):
            for look in self.all_looks:
                if look.day == today:
                    self.walk(look)
            for day, record in self.dated["symptoms"]:
                if day == today:
                    self.read_finding(day, record)

    def living_in(self, line: RowLine, day: date) -> list[int]:
        """Return the positions of a row whose vine stands and was not found dead on an earlier day."""
        living = []
        for position in range(line.first, line.last + 1):
            vine = self.ground.vine(line, position)
            plant = self.plant_on(vine, day) if vine else None
            if vine and plant is not None and not self.found_dead(vine, plant, day - ONE_DAY):
                living.append(position)
        return living

    def found_dead(self, vine: Vine, plant: int, by: date) -> bool:
        """Whether a plant was found dead by a day, by whomever."""
        return any(
            finding.symptom == "dead" and finding.day <= by
            for finding in self.findings
            if (finding.vine, finding.plant) == (vine, plant)
        )

    def counted(self, line: RowLine, look: Look, written: range) -> list[int]:
        """Return the labelled positions behind positions that were written as a survey counts."""
        if text(look.record, "counting") == "living_vines":
            order, first = look.living[line.label], 1
        else:
            order, first = list(range(line.first, line.last + 1)), line.first
        if text(look.record, "counted_from") == "end":
            order = order[::-1]
        return [order[count - first] for count in written if 0 <= count - first < len(order)]

    def walk(self, look: Look) -> None:
        """Fill in the rows and vines that a look covers, by the labels of its first day."""
        lines = self.ground.on(look.day)
        look.living = {line.label: self.living_in(line, look.day) for line in lines}
        for item in words(text(look.record, "covered")):
            label, colon, positions = item.partition(":")
            if colon:
                chosen = [line for line in lines if line.label == label.strip()][:1]
            else:
                chosen = self.rows_between(label, lines)
            for line in chosen:
                look.rows.add(line.ground)
                whole_row = list(range(line.first, line.last + 1))
                count = self.counted(line, look, as_range(positions)) if colon else whole_row
                look.walked |= {vine for position in count if (vine := self.ground.vine(line, position))}
        look.vines = set(look.walked)

    def rows_between(self, written: str, lines: list[RowLine]) -> list[RowLine]:
        """Return the rows of "a", "a..b" or "a..b/step" in the order of the ground."""
        labels = [line.label for line in lines]
        first, dots, last = (part.strip() for part in written.partition(".."))
        if dots and last not in labels and "/" in last:
            plain, _, step = last.rpartition("/")
            every = self.rows_between(f"{first}..{plain}", lines)
            backwards = bool(every) and every[0].label != first
            return [line for number, line in enumerate(every[::-1] if backwards else every) if number % int(step) == 0]
        if written.strip() in labels:
            first = last = written.strip()
        elif not dots:
            return []
        if first not in labels or last not in labels:
            return []
        ends = sorted((labels.index(first), labels.index(last)))
        return lines[ends[0] : ends[1] + 1]

    def vine_meant(self, day: date, record: Record) -> Vine | None:
        """Return the vine that a finding names (3)."""
        place = self.ground.labelled(record, day)
        if place is None:
            return None
        line, position, by_bay = place
        written = text(record, "counted_from")
        if not by_bay and written == "end":
            position = line.last - (position - line.first)
        elif not by_bay and not written:
            going = [look for look in self.all_looks if look.goes_on(day) and line.ground in look.rows]
            own = [look for look in going if look.observer == text(record, "observer")]
            if going:
                look = (own or going)[0]
                counted = self.counted(self.line_in(line, look), look, range(position, position + 1))
                if not counted:
                    return None
                position = counted[0]
        return self.ground.vine(line, position)

    def line_in(self, line: RowLine, look: Look) -> RowLine:
        """Return the same row as labelled on the first day of a look."""
        return next(other for other in self.ground.on(look.day) if other.ground == line.ground)

    def read_finding(self, day: date, record: Record) -> None:
        """Place one finding on vine and plant."""
        vine = self.vine_meant(day, record)
        if vine is None:
            return
        dead, total, share = number(record, "dead"), number(record, "total"), number(record, "percent")
        if dead is not None and total:
            share = 100 * dead / total
        self.findings.append(
            Finding(
                id=text(record, "id"),
                day=day,
                season=self.calendar.season(day),
                symptom=text(record, "symptom"),
                trunk=whole(record, "trunk") or 0,
                arm=text(record, "arm"),
                observer=text(record, "observer"),
                cause=text(record, "cause"),
                share=share,
                vine=vine,
                plant=self.plant_on(vine, day),
                clean_face=is_clean_face(record),
            )
        )

    def of_second_look(self, finding: Finding) -> bool:
        """Whether a finding belongs to a second look (6)."""
        there = [look for look in self.all_looks if finding.vine in look.walked]
        own = [look for look in there if not look.second and look.observer == finding.observer]
        if any(look.goes_on(finding.day) for look in there):
            going = [look for look in there if look.second and look.goes_on(finding.day)]
            made_another = any(look.goes_on(finding.day) for look in own)
            return not made_another and any(same(look.observer, finding.observer) for look in going)
        if not finding.observer:
            return False
        seconds = [look for look in there if look.second and look.observer == finding.observer]
        off = min((look.days_off(finding.day) for look in seconds), default=15)
        return off <= 14 and all(look.days_off(finding.day) > off for look in own)

    def join_findings_and_looks(self) -> None:
        """Take unseen vines out of the looks, then give every finding its look (6)."""
        for finding in self.findings:
            finding.second = self.of_second_look(finding)
        unseen = [finding for finding in self.findings if finding.symptom == "not_seen" and not finding.second]
        for finding in unseen:
            going = [look for look in self.looks if look.goes_on(finding.day) and finding.vine in look.walked]
            finding.covered = bool(going)
            for look in going:
                look.vines.discard(finding.vine)
        for finding in self.findings:
            if not finding.second and not finding.covered:
                finding.look = self.look_of(finding)
            finding.covered = finding.covered or finding.second or finding.look is not None
            finding.kind = finding.look.kind if finding.look else self.calendar.kind(finding.day)

    def look_of(self, finding: Finding) -> Look | None:
        """Return the look that covers a finding."""
        looks = [look for look in self.looks if look.season == finding.season and finding.vine in look.vines]
        kind = self.calendar.kind(finding.day)
        going = [look for look in looks if look.goes_on(finding.day)]
        near = [look for look in looks if look.kind == kind and look.days_off(finding.day) <= 14]
        return next(iter(going + near), None)
