"""What is said of a vine now, worked out a second time: section 13 of ``trunkwatch/history/READING.md``.

Slowly and plainly, in the manner of ``reference.py``, on whose blocks, damage and seasons it stands; nothing is shared
with the package. Numbers in parentheses are the sections of the rules. Where a rule can be read in two ways, this is
how it is read here (Q1 to Q21 stand in ``reference.py``):

Q22 (13) The last record that names a vine: of the block, also where no plant stands there. A look names the vines that
    it walked, before ``not_seen``; one that walked none names none. Second looks and their findings are no such records.
Q23 (13) Where S was asked for, only what shows in S and the season's conditions are read as if the history ended with S.
    All else of this section (plants, damage, doubt, symptoms, shoot, trunks, which look a finding is of) is read from
    all records, and of findings only those by D.
Q24 (13) Stands after the work of D: a plant that was not removed on D; one that ends with D because the next was planted
    on the day after still stands. A day that a bare year of removal comes to is a day like any other.
Q25 (13) No work of D or of any day, before or after, has cut damage or a symptom of the season, whatever else ended the
    damage first. What was contradicted and then cut is not in doubt either: a cut is known as soon as it is written.
Q26 (13) A share is dead of total where both are written, else ``percent``, of damage and of symptoms.
Q27 (13) Parts of the share of the vine are told apart by trunk and arm as written, whatever the symptom; what sits on an
    arm is what names one, and no arm or ``head`` is the whole.
Q28 (13) Trunk numbers: of any finding of the plant by D, and of all work done on the position, on whichever plant and day.
Q29 (13) A shoot of ``none`` is a note: its day is the day of the shoot.
Q30 (13) A vine found dead in S after it was seen showed in S, and its condition is not showing.
Q31 (13) Listed, and in how many seasons: as the plant spoken of. Where no plant stands after D, or another than the one
    that showed in S, that showing lists nothing. Seasons in which an earlier plant showed are not counted.
Q32 (13) The condition in S is missing or dead as section 11 says, also of a season without records; a vine in a position
    that was empty then is not listed, whatever was found by D on what was planted after.
Q33 (13) ``recorded_at`` is that of the version that stands.
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from reading.laid import Record, Table, Vine, number, standing, text
from reading.placed import Block, Finding
from reading.reference import LASTING, Damages, Seasons, takes

PASSING = ("leaf_stripe", "collapse", "stunted_shoots")
ONE_ARM = ("unilateral", "cane_1")
FOUR_ARMS = ("double_wire", "divided", "cane_4")


@dataclass
class VineSaid:
    """What is said of one vine: days as text, "" and None where nothing is said."""

    damages: list[tuple[str, str, int, str]] = field(default_factory=list)
    symptoms: list[tuple[str, str]] = field(default_factory=list)
    doubted: list[tuple[str, str, int, str]] = field(default_factory=list)
    last_seen: str = ""
    percent: float | None = None
    share: float | None = None
    shoot: str = ""
    shoot_seen: str = ""
    shoot_quality: str = ""
    again: bool = False
    listed: bool = False
    list_percent: float | None = None
    list_seasons: int = 0


class Speaker:
    """A block, spoken of as of a day after a season."""

    def __init__(self, tables: dict[str, Table], block: str, definition: str, season: int, asked: bool) -> None:
        self.block = Block(tables, block, None)
        self.damages = Damages(self.block)
        self.season = season
        up_to = Block(tables, block, season) if asked else self.block
        self.seasons = Seasons(up_to, Damages(up_to) if asked else self.damages, definition, without_winter=False)
        self.day = self.last_day() if not asked else self.block.calendar.last_day(season)
        self.records = {text(record, "id"): record for record in standing(tables.get("symptoms", []))}
        about = [record for record in standing(tables.get("blocks", [])) if text(record, "block") in ("", block)]
        self.training = text(about[-1], "training") if about else ""

    def last_day(self) -> date:
        """Return the last day of the season, or that of the last record that names a vine where it is later."""
        days = [self.block.calendar.last_day(self.season)]
        days += [finding.day for finding in self.block.findings if not finding.second]
        days += [look.until for look in self.block.looks if look.walked]
        days += [work.day for work in self.block.work]
        return max(days)

    def plant(self, vine: Vine) -> int | None:
        """Return the plant that stands after the work of the day."""
        for index, plant in enumerate(self.block.plants[vine]):
            if plant.start <= self.day <= plant.end and plant.removed != self.day:
                return index
        return None

    def findings(self, vine: Vine, plant: int) -> list[Finding]:
        """Return the findings of a plant by the day, the last one last."""
        of_plant = [
            finding
            for finding in self.block.enter
            if (finding.vine, finding.plant) == (vine, plant) and finding.day <= self.day
        ]
        return sorted(of_plant, key=self.order)

    def record(self, finding: Finding) -> Record:
        """Return the record of a finding."""
        return self.records[finding.id]

    def order(self, finding: Finding) -> tuple[date, str, str]:
        """Return by what the last of findings is told."""
        return finding.day, text(self.record(finding), "recorded_at"), finding.id

    def was_cut(self, finding: Finding) -> bool:
        """Whether any work took it away, before the day or after."""
        return any(takes(work, finding) for work in self.block.work)

    def doubtful(self, damage: Finding) -> bool:
        """Whether a damage was contradicted or is unmentioned by the day."""
        days = (self.damages.contradicted(damage), self.damages.unmentioned(damage))
        return any(day is not None and day <= self.day for day in days)

    def last_mention(self, damages: list[Finding]) -> date:
        """Return the last day by the day on which any of these was mentioned."""
        mentions = [finding for damage in damages for finding in self.damages.mentions(damage)]
        return max(finding.day for finding in mentions if finding.day <= self.day)

    # Shares

    def share_written(self, finding: Finding) -> float | None:
        """Return the share that is written of a damage."""
        record = self.record(finding)
        percent, dead, total = (number(record, column) for column in ("percent", "dead", "total"))
        return 100 * dead / total if dead is not None and total else percent

    def arms(self) -> int:
        """Return how many arms of a vine there are on the wire."""
        if self.training in ONE_ARM:
            return 1
        return 4 if self.training in FOUR_ARMS else 2

    def trunks(self, vine: Vine, findings: list[Finding]) -> int:
        """Return how many trunks a vine has."""
        of_work = [work.trunk for work in self.block.work if work.vine == vine]
        return max(2 if self.training == "multi_trunk" else 1, *of_work, *(finding.trunk for finding in findings), 0)

    def share_of_vine(self, damages: list[Finding], trunks: int) -> float | None:
        """Return the share of the vine that is damaged."""
        empty = [number(self.record(damage), "empty_percent") for damage in sorted(damages, key=self.order)]
        written = [share for share in empty if share is not None]
        if written:
            return written[-1]
        parts: dict[tuple[int, str], float] = {}
        for damage in damages:
            percent, part = self.share_written(damage), (damage.trunk, damage.arm)
            if percent is not None:
                parts[part] = max(percent, parts.get(part, percent))
        if not parts:
            return None
        total = 0.0
        for (trunk, arm), percent in parts.items():
            of_arm = self.arms() if arm not in ("", "head") else 1
            total += percent / of_arm / (trunks if trunk else 1)
        return min(total, 100.0)

    # The list

    def showed(self, season: int, vine: Vine, plant: int) -> bool:
        """Whether this plant showed in a season."""
        if season not in self.seasons.seasons or not self.seasons.showing(season, vine):
            return False
        return self.seasons.plant(season, vine) == plant

    def missing_or_dead(self, vine: Vine) -> bool:
        """Whether the condition in the season is missing or dead (11)."""
        plant, day = self.seasons.plant(self.season, vine), self.seasons.day(self.season, vine)
        return plant is None or self.seasons.block.found_dead(vine, plant, day)

    # The vine

    def speak(self, vine: Vine) -> VineSaid:
        """Return what is said of a vine."""
        words, plant = VineSaid(), self.plant(vine)
        if plant is None:
            return words
        findings = self.findings(vine, plant)
        uncut = [finding for finding in findings if not self.was_cut(finding)]
        lasting = [finding for finding in uncut if finding.symptom in LASTING]
        damages = [finding for finding in lasting if not self.doubtful(finding)]
        symptoms = [finding for finding in uncut if finding.symptom in PASSING and finding.season >= self.season]
        doubted = [
            finding
            for finding in lasting
            if self.doubtful(finding) and not any(finding.mentions(damage) for damage in damages)
        ]
        words.damages, words.doubted = as_lines(damages), as_lines(doubted)
        words.symptoms = sorted((finding.day.isoformat(), finding.symptom) for finding in symptoms)
        if damages or doubted:
            words.last_seen = self.last_mention(damages or doubted).isoformat()
        if symptoms and not damages:
            words.last_seen = max(finding.day for finding in symptoms).isoformat()
        words.percent = largest(self.share_written(damage) for damage in damages)
        words.share = self.share_of_vine(damages, self.trunks(vine, findings))
        for finding in findings:  # the last one that has a shoot is left
            shoot = text(self.record(finding), "renewal_shoot")
            if shoot:
                words.shoot, words.shoot_seen = shoot if shoot != "none" else "", finding.day.isoformat()
                words.shoot_quality = text(self.record(finding), "shoot_quality") if shoot != "none" else ""
        words.again = bool(doubted) and not damages and not symptoms
        shows = self.showed(self.season, vine, plant) and self.seasons.condition[self.season, vine] == "showing"
        words.listed = shows or (bool(damages or symptoms or doubted) and not self.missing_or_dead(vine))
        if words.listed:
            of_symptoms = largest(self.share_written(finding) for finding in symptoms)
            words.list_percent = words.percent if damages else of_symptoms
            seasons = [season for season in self.seasons.seasons if season <= self.season]
            words.list_seasons = sum(self.showed(season, vine, plant) for season in seasons)
        return words


def as_lines(findings: list[Finding]) -> list[tuple[str, str, int, str]]:
    """Return day, symptom, trunk and arm of findings, in order."""
    return sorted((finding.day.isoformat(), finding.symptom, finding.trunk, finding.arm) for finding in findings)


def largest(shares: Iterable[float | None]) -> float | None:
    """Return the largest of what is written, None where nothing is."""
    return max((share for share in shares if share is not None), default=None)


def said(
    tables: dict[str, Table],
    block: str,
    *,
    definition: str = "any",
    season: int,
    asked: bool,
) -> dict[Vine, VineSaid]:
    """Say of every vine of a block what the rules say now (13).

    Parameters
    ----------
    tables : dict
        Records of blocks, rows, plants, surveys, symptoms and work, every version of them.
    block : str
        Label of the block.
    definition : str
        Case definition: any, leaf or dieback; it decides what shows, and so who is listed.
    season : int
        The season after which is spoken.
    asked : bool
        Whether the season was asked for: then the day is its last, else that or the day of the last record.

    Returns
    -------
    dict
        What is said, by vine; of a position without a plant nothing.
    """
    speaker = Speaker(tables, block, definition, season, asked)
    return {vine: speaker.speak(vine) for vine in sorted(speaker.block.ground.vines)}
