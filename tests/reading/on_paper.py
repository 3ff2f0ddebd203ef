"""What map, plan, lists, phone and history print, worked out a second time by ``trunkwatch/history/READING.md``.

In the manner of ``said.py``, on whose speaker it stands: nothing is shared with the package, and no word of a page
stands here, only the facts behind it. Where a rule can be read in two ways, this is how it is read here (Q1 to Q33
stand in ``reference.py`` and ``said.py``):

Q34 (13) The season of which nothing is asked is found under the definition that the page is made for.
Q35 (14) Every version that names a vine is placed by the records that stand, also one that does not stand itself; the
    versions of one root are printed together where any of them names the vine.
Q36 (14) Damage outside the count: of whichever plant stands after the work of the season's last day. Cut on that day it
    stands no more.
Q37 (14) Work that is planned is of a position; on which plant it is done shows when it is done.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date

from reading.laid import Record, Table, Vine, number, real_day, standing, text, whole
from reading.placed import ON_AN_ARM, Block, Finding
from reading.reference import LASTING, PULLED_AS_DEAD, Damages, Seasons
from reading.said import PASSING, Speaker, VineSaid

#: Of what is seen on a vine, all that "last seen" of a crew's list and of a rate's cases takes in.
EVIDENCE = (*LASTING, "leaf_stripe", "berry_spots", "stunted_shoots", "crowded_shoots", "collapse", "dead", "wood_staining")  # fmt: skip
UNTIDY = ("mummies", "old_wood_left")
AT_HAND = ("trunk", "above_union", "own_root")
NO_CONDITION = "not seen"


@dataclass
class SeasonOnMap:
    """One season of the map."""

    season: int
    counted: bool
    compared: bool
    annual: tuple[int, int] | None
    seen: int
    carried: int
    condition: dict[Vine, str]
    worked: set[Vine]
    outside: set[Vine]


@dataclass
class Event:
    """One line of a vine's story on the map: a record, or a planting or a removal that came of records."""

    day: str
    what: str
    record: Record = field(default_factory=dict)
    casual: bool = False
    died: bool = False


@dataclass
class VersionOnPage:
    """One version of a record in the history of a vine."""

    table: str
    record: Record
    fate: str


@dataclass
class Planned:
    """What the plan may say of a vine."""

    said: VineSaid
    arms: set[str]
    trunks: set[int]
    of_how_many: int
    placed_shoot: bool
    usable_shoot: bool
    untidy: bool
    stands: bool
    gone_since: bool
    found_dead: bool
    showed_before: bool
    condition: str


@dataclass
class OnCrewList:
    """One line of a list for the crew."""

    vine: Vine
    kind: str
    trunk: int
    arm: str
    bay: tuple[int, int] | None
    note: str
    seen: str
    cut_height_cm: float | None = None


class Pages:
    """What is printed of a block after a season."""

    def __init__(self, tables: dict[str, Table], block: str, definition: str, season: int | None) -> None:
        self.tables, self.label = tables, block
        whole_block = Block(tables, block, None)
        self.all_seasons = Seasons(whole_block, Damages(whole_block), definition, without_winter=False)
        self.season = season if season is not None else usual_season(self.all_seasons)
        self.speaker = Speaker(tables, block, definition, self.season, season is not None)
        up_to = Block(tables, block, self.season)
        self.seasons = Seasons(up_to, Damages(up_to), definition, without_winter=False)
        self.block = self.speaker.block
        self.damages = self.speaker.damages
        about = [record for record in standing(tables.get("blocks", [])) if text(record, "block") in ("", block)]
        self.grafted = (text(about[-1], "grafted") if about else "") != "no"

    @property
    def vines(self) -> list[Vine]:
        """Every vine of the block."""
        return sorted(self.block.ground.vines)

    def after_work(self, vine: Vine, day: date) -> int | None:
        """Return the plant that stands after the work of a day."""
        for index, plant in enumerate(self.block.plants[vine]):
            if plant.start <= day <= plant.end and plant.removed != day:
                return index
        return None

    # The map

    def map_seasons(self) -> list[SeasonOnMap]:
        """Return all seasons up to the one that is spoken of."""
        return [self.map_season(season) for season in self.seasons.seasons]

    def map_season(self, season: int) -> SeasonOnMap:
        """Return one season of the map."""
        read = self.seasons
        end = self.block.calendar.last_day(season)
        mature = read.mature(season)
        showing = [vine for vine in mature if read.condition[season, vine] == "showing"]
        return SeasonOnMap(
            season=season,
            counted=season in read.counted,
            compared=season in read.compared,
            annual=(len(showing), len(mature)) if season in read.counted and mature else None,
            seen=sum(vine in read.seen[season] for vine in showing),
            carried=sum(vine in read.carried[season] for vine in showing),
            condition={vine: read.condition[season, vine] for vine in self.vines},
            worked={work.vine for work in self.block.work if self.block.calendar.season(work.day) == season},
            outside={vine for vine in self.vines if not read.showing(season, vine) and self.damaged(vine, end)},
        )

    def damaged(self, vine: Vine, day: date) -> bool:
        """Whether damage of the plant that stands after the work of a day stands after it."""
        plant = self.after_work(vine, day)
        of_plant = [damage for damage in self.damages.findings if (damage.vine, damage.plant) == (vine, plant)]
        for damage in of_plant:
            how, end = self.damages.end[damage.id]
            if damage.day <= day and (end is None or end > day or (how == "gone" and end == day)):
                return True
        return False

    def events(self) -> dict[Vine, list[Event]]:
        """Return the story of every vine."""
        told: dict[Vine, list[Event]] = {vine: [] for vine in self.vines}
        for finding in self.block.findings:
            record = self.speaker.record(finding)
            told[finding.vine].append(
                Event(finding.day.isoformat(), "symptoms", record, casual=not finding.covered),
            )
        for day, record, vine in self.placed_work():
            told[vine].append(Event(day.isoformat(), "work", record))
        for vine, plants in self.block.plants.items():
            for plant in plants:
                if plant.start != date.min:
                    told[vine].append(Event(plant.start.isoformat(), "planted"))
                if plant.end != date.max:
                    died = not plant.reasons.isdisjoint(PULLED_AS_DEAD)
                    told[vine].append(Event(plant.end.isoformat(), "gone", died=died))
        return told

    def placed_work(self) -> Iterator[tuple[date, Record, Vine]]:
        """Return all work that stands and names a vine, done or not."""
        for day, record in self.block.dated["work"]:
            vine = self.block.vine_of(record, day)
            if vine:
                yield day, record, vine

    # The history of a vine (14)

    def placed_versions(self, table: str) -> list[tuple[Record, Vine | None]]:
        """Return every version of the records of a table, with the vine that each names."""
        found: list[tuple[Record, Vine | None]] = []
        for record in self.tables.get(table, []):
            day = real_day(text(record, "date"))
            if text(record, "block") not in ("", self.label) or (table != "plants" and day is None):
                continue
            if table == "plants":
                line = self.block.plant_line(record)
                found.append((record, line.vine if line else None))
            elif table == "work":
                found.append((record, self.block.vine_of(record, day)))
            elif day is not None:
                found.append((record, self.block.vine_meant(day, record)))
        return found

    def history(self) -> dict[Vine, list[VersionOnPage]]:
        """Return every version of every record by vine, with what became of it."""
        told: dict[Vine, list[VersionOnPage]] = {}
        for table in ("plants", "symptoms", "work"):
            placed = self.placed_versions(table)
            stands = {text(record, "id") for record in standing(self.tables.get(table, []))}
            for chain in chains(placed):
                fates = fates_of([record for record, _ in chain], stands)
                for vine in {vine for _, vine in chain if vine}:
                    told.setdefault(vine, []).extend(
                        VersionOnPage(table, record, fate) for (record, _), fate in zip(chain, fates, strict=True)
                    )
        return told

    # Last seen of a crew's list and of a rate (14)

    def last_evidence(self, vine: Vine, day: date) -> str:
        """Return the last day by a day on which anything was seen on the plant that stands after its work."""
        plant = self.after_work(vine, day)
        if plant is None:
            return ""
        days = [
            finding.day
            for finding in self.block.enter
            if (finding.vine, finding.plant) == (vine, plant)
            and finding.symptom in EVIDENCE
            and finding.day <= day
            and not finding.clean_face
        ]
        return max(days).isoformat() if days else ""

    def showing_now(self) -> dict[Vine, str]:
        """Return the vines that show in the season, and when anything was last seen on them."""
        showing = [vine for vine in self.vines if self.seasons.condition[self.season, vine] == "showing"]
        return {vine: self.last_evidence(vine, self.speaker.day) for vine in showing}

    # Lists for the crew (14)

    def crew_lists(self) -> list[OnCrewList]:
        """Return the work that is planned, each piece once, and not done since."""
        pieces: dict[tuple[Vine, str, int, str], list[tuple[date, str, Record]]] = {}
        done: dict[tuple[Vine, str, int, str], list[date]] = {}
        for day, record, vine in self.placed_work():
            piece = vine, text(record, "kind"), whole(record, "trunk") or 0, text(record, "arm")
            if text(record, "status") == "planned":
                pieces.setdefault(piece, []).append((day, text(record, "id"), record))
            elif text(record, "status") in ("", "done"):
                done.setdefault(piece, []).append(day)
        lines = []
        season = self.block.calendar.season
        for piece, planned in pieces.items():
            day, _, record = max(planned, key=lambda one: one[:2])
            if any(other >= day or season(other) == season(day) for other in done.get(piece, [])):
                continue
            vine, kind, trunk, arm = piece
            seen = self.last_evidence(vine, day)
            lines.append(
                OnCrewList(
                    vine, kind, trunk, arm, self.bay(vine), text(record, "note"), seen, number(record, "cut_height_cm")
                )
            )
        return lines

    def bay(self, vine: Vine) -> tuple[int, int] | None:
        """Return bay, and vine in the bay, by the posts of today."""
        line = self.block.ground.row(vine[0], None)
        for count, bay in enumerate(line.bays() if line else [], 1):
            if vine[1] in bay:
                return count, vine[1] - bay[0] + 1
        return None

    # The phone (14)

    def last_noted(self) -> int:
        """Return the last season in which anything was looked at, seen or done."""
        season = self.block.calendar.season
        found = {look.season for look in self.block.looks}
        found |= {season(finding.day) for finding in self.block.findings}
        found |= {season(day) for day, record, _ in self.placed_work() if text(record, "status") in ("", "done")}
        return max(found, default=max(self.all_seasons.seasons))

    def phone(self, walked: int) -> dict[Vine, dict[str, object]]:
        """Return what a phone shows of every vine in a season that is to be walked."""
        day = self.block.calendar.last_day(walked)
        return {vine: self.on_phone(vine, walked, day) for vine in self.vines}

    def on_phone(self, vine: Vine, walked: int, day: date) -> dict[str, object]:
        """Return what a phone shows of one vine."""
        plant = self.after_work(vine, day)
        known, known_in = NO_CONDITION, 0
        for season in self.seasons.seasons:
            word = self.seasons.condition[season, vine]
            if season <= walked and word != NO_CONDITION and self.seasons.plant(season, vine) == plant:
                known, known_in = word, season
        of_plant = [
            finding
            for finding in self.block.enter
            if (finding.vine, finding.plant) == (vine, plant)
            and finding.symptom != "not_seen"
            and finding.day <= day
            and not finding.clean_face
        ]
        last = max(of_plant, key=self.speaker.order, default=None) if plant is not None else None
        return {
            "missing": plant is None,
            "young": plant is not None and self.seasons.young(walked, vine, plant),
            "known": known,
            "known_in": known_in,
            "found": (last.symptom, last.day.isoformat()) if last else None,
        }

    # The list of the report

    def what_is_listed(self, vine: Vine) -> list[tuple[str, int, str, str, str, int]]:
        """Return what stands on the list: symptom, trunk, arm and, of what is in doubt, why, since when, at how many looks; else no why and its day."""
        words, plant = self.speaker.speak(vine), self.speaker.plant(vine)
        if plant is None:
            return []
        findings = self.speaker.findings(vine, plant)
        if not words.again:
            keys = {(day, symptom) for day, symptom in words.symptoms}
            return [
                (finding.symptom, finding.trunk, finding.arm, "", finding.day.isoformat(), 0)
                for finding in findings
                if as_line(finding) in words.damages
                or ((finding.day.isoformat(), finding.symptom) in keys and not self.speaker.was_cut(finding))
            ]
        doubted = [finding for finding in findings if as_line(finding) in words.doubted]
        return [(finding.symptom, finding.trunk, finding.arm, *self.doubt(finding)) for finding in doubted]

    def doubt(self, damage: Finding) -> tuple[str, str, int]:
        """Return why a damage is in doubt: how, since which day, and at how many silent looks."""
        how, day = self.damages.end[damage.id]
        if day is None:
            return "", "", 0
        return how, day.isoformat(), self.silent_run(damage, day) if how == "unmentioned" else 0

    def silent_run(self, damage: Finding, day: date) -> int:
        """Return how many looks in a row were silent on a damage up to the look that ended it."""
        mentions = self.damages.mentions(damage)
        looks = [look for look in self.damages.looks_at(damage) if look.until <= day]
        looks = [look for look in self.damages.looks_at(damage) if look.place <= looks[-1].place]
        since = max(finding.ends() for finding in mentions if finding.day <= day)
        return sum(look.day > since and not self.damages.spoke(look, damage) for look in looks)

    def last_case(self, vine: Vine) -> str:
        """Return when a vine on which nothing stands any more was last seen with damage or symptoms."""
        plant = self.speaker.plant(vine)
        if plant is None:
            return ""
        days = [
            finding.day for finding in self.speaker.findings(vine, plant) if finding.symptom in (*LASTING, *PASSING)
        ]
        return max(days).isoformat() if days else ""

    def is_usable(self, words: VineSaid) -> bool:
        """Whether a vine can be renewed this winter: its shoot is in the right place, and said to be good or nothing."""
        return self.is_placed(words.shoot) and words.shoot_quality in ("", "good")

    def is_placed(self, shoot: str) -> bool:
        """Whether a shoot is where a vine can be renewed from: below the union of a grafted vine it is rootstock."""
        return shoot in AT_HAND or (shoot == "below_union" and not self.grafted)

    # The plan (14)

    def last_record(self) -> date:
        """Return the last day of all records that name a vine."""
        days = [self.speaker.day]
        days += [finding.day for finding in self.block.findings if not finding.second]
        days += [look.until for look in self.block.looks if look.walked]
        return max([*days, *(work.day for work in self.block.work)])

    def plan(self) -> dict[Vine, Planned]:
        """Return what the plan may say of every vine."""
        return {vine: self.planned(vine) for vine in self.vines}

    def planned(self, vine: Vine) -> Planned:
        """Return what the plan may say of one vine."""
        words, plant = self.speaker.speak(vine), self.speaker.plant(vine)
        findings = self.speaker.findings(vine, plant) if plant is not None else []
        passing = [
            finding
            for finding in findings
            if finding.symptom in PASSING and (finding.day.isoformat(), finding.symptom) in words.symptoms
        ]
        open_now = [finding for finding in findings if as_line(finding) in words.damages]
        open_now += [finding for finding in passing if not self.speaker.was_cut(finding)]
        on_arm = [finding for finding in open_now if finding.symptom in ON_AN_ARM and not of_trunk(finding)]
        condition = self.seasons.condition[self.season, vine]
        return Planned(
            said=words,
            arms={finding.arm for finding in on_arm},
            trunks={finding.trunk for finding in open_now if of_trunk(finding)},
            of_how_many=self.speaker.trunks(vine, findings),
            placed_shoot=self.is_placed(words.shoot),
            usable_shoot=self.is_usable(words),
            untidy=any(finding.symptom in UNTIDY and finding.season >= self.season for finding in findings),
            stands=self.after_work(vine, self.last_record()) is not None,
            gone_since=self.after_work(vine, self.last_record()) != plant,
            found_dead=condition == "dead" and self.seasons.plant(self.season, vine) == plant,
            showed_before=plant is not None
            and any(self.speaker.showed(season, vine, plant) for season in self.seasons.seasons),
            condition=condition,
        )


def of_trunk(finding: Finding) -> bool:
    """Whether a finding is planned as of the trunk (5)."""
    return finding.symptom == "dead_trunk" or (finding.symptom == "canker" and not finding.arm)


def as_line(finding: Finding) -> tuple[str, str, int, str]:
    """Return day, symptom, trunk and arm."""
    return finding.day.isoformat(), finding.symptom, finding.trunk, finding.arm


def usual_season(seasons: Seasons) -> int:
    """Return the season that is spoken of where none is asked for (13)."""
    counted = sorted(seasons.counted)
    if not counted:
        return seasons.seasons[-1]
    if len(counted) > 1 and seasons.classes(counted[-1]) < seasons.classes(counted[-2]):
        return counted[-2]
    return counted[-1]


def chains(placed: Iterable[tuple[Record, Vine | None]]) -> list[list[tuple[Record, Vine | None]]]:
    """Put the versions of one root together (1)."""
    listed = list(placed)
    corrects = {text(record, "id"): text(record, "corrects") for record, _ in listed}
    by_root: dict[str, list[tuple[Record, Vine | None]]] = {}
    for record, vine in listed:
        name, passed = text(record, "id"), set()
        while corrects.get(name) and name not in passed:
            passed.add(name)
            name = corrects[name]
        by_root.setdefault(name, []).append((record, vine))
    return list(by_root.values())


def fates_of(chain: list[Record], stands: set[str]) -> list[str]:
    """Return what became of each version of one root (14)."""
    left = any(text(record, "id") in stands for record in chain)
    fates = []
    for record in chain:
        if text(record, "void") == "yes":
            fates.append("takes back")
        elif text(record, "id") in stands:
            fates.append("stands")
        else:
            fates.append("corrected" if left else "taken back")
    return fates
