"""The rules of ``trunkwatch/history/READING.md``, worked out a second time: slowly, plainly and by another hand.

Nothing here is shared with the package, not even the calendar: where the two differ, one of them is wrong, or a rule
can be read in two ways. Numbers in parentheses are the sections of the rules. Where a rule can be read in two ways,
this is how it is read here:

Q1  (all) ``through``: which version of a record stands is settled before, whenever it was written. Later looks (by
    their first day), findings and work are as if never written; lines of ``plants`` are read whole. ``Reading.damages``
    lists what was found by then, ``last_seen`` and ``end`` by all records.
Q2  (all) The seasons run from the first to the last dated look (second looks aside), finding and work, also of
    findings and work that name no vine, and of work that is not done.
Q3  (1) A ``void`` that corrects nothing does not stand.
Q4  (3) Bays: ``every n`` counts n vines from the first position.
Q5  (3) A whole row in ``covered`` of a survey that counts living vines covers the living vines only.
Q6  (4) A removal in a bare year: a planting that is the first plant is no planting before which it lies; one told twice
    is. The planting of its own line is the day as written, also where that is the first plant.
Q7  (4) Of the first plant no planting is told twice: work ``replant`` in the season of the block's planting begins one.
Q8  (5) An arm written with dead_trunk or with what is of the vine as a whole (``none`` also) is no part: it matches all.
Q9  (6) ``As walked here, before not_seen`` is of second looks. The look that covers a finding covers the vine after
    ``not_seen``: what was found at a look at which the vine was also written as not seen may be casual.
Q10 (6) ``On no day of any look``: of any that covers the vine. ``No other look``: no ordinary one that covers the vine.
    The second look may be of another season or kind. ``Only if`` is read as `if these hold`.
Q11 (6) A finding of a second look is not casual: ``covered`` is True. Nothing of it enters but that a vine is dead.
Q12 (7) Of ends on one day the first in the order of section 7 is named, and by it a damage stands on that day or does
    not. Gone on that day it stands, as the plant does.
Q13 (8) A look is learnt from where any finding known by then shows the damage at it, though a still later finding be
    covered by a look that began before it ended. Whether it spoke is asked of findings up to the look that learns.
Q14 (8) The silent looks since the latest finding began after its day and after the last day of its look, as those do
    that are learnt from. Whether such a look spoke is asked of all findings, also of those made after it.
Q15 (9) The share of ``dead_spurs`` is dead / total where both are written, else ``percent``, else there is no number.
Q16 (9) A damage covered by a look of a kind that the definition does not take counts, as a casual one does, from the
    first look into which it is carried; whether the vine is also seen in that season plays no part.
Q17 (10) Positions are looked at, with or without a plant.
Q18 (11) Clearing work is the four kinds of section 7.
Q19 (12) Never a case: in no earlier season, compared or not. Looked at in k earlier compared seasons: at least k (here
    1), in which this same plant was the one judged.
Q20 (12) Work takes a case as section 7 says, also one that was contradicted or unmentioned before. ``Followed by`` and
    ``after``: on a later day.
Q21 (12) Pulled: the last day of the plant lies before the day of section 11; on the day of its removal it still stands.
    The reason is that of a line whose removal took this plant; a line whose removal found no plant says nothing.
"""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date
from fractions import Fraction
from itertools import pairwise

from reading.laid import Table, Vine
from reading.placed import TRUNK_WORK, Block, Finding, Look, Work, takes

Rate = tuple[int, int] | None

LASTING = ("dead_arm", "dead_trunk", "dead_spurs", "canker")
LEAF_CASES = ("leaf_stripe", "collapse")
DIEBACK_CASES = ("dead_arm", "dead_trunk", "canker", "stunted_shoots", "dead_spurs")
CLEARING = (*TRUNK_WORK, "renew_arm")
PULLED_AS_DEAD = ("dead", "collapse", "winter_injury")
MATURE = ("showing", "renewed", "hidden", "sound")
ENDS = ("cut", "gone", "contradicted", "unmentioned")


@dataclass
class Damage:
    """What lasts: one finding, and how long it stood."""

    vine: Vine
    date: dt.date
    symptom: str
    trunk: int
    arm: str
    last_seen: dt.date
    end: str
    end_day: dt.date | None


@dataclass
class Reading:
    """All that the rules say of one block."""

    seasons: tuple[int, ...] = ()
    counted: set[int] = field(default_factory=set)
    compared: set[int] = field(default_factory=set)
    looked_at: dict[int, set[Vine]] = field(default_factory=dict)
    condition: dict[tuple[int, Vine], str] = field(default_factory=dict)
    seen: dict[int, set[Vine]] = field(default_factory=dict)
    carried: dict[int, set[Vine]] = field(default_factory=dict)
    rates: dict[tuple[int, str], Rate] = field(default_factory=dict)
    damages: dict[Vine, list[Damage]] = field(default_factory=dict)
    covered: dict[str, bool] = field(default_factory=dict)
    second: set[str] = field(default_factory=set)


# Damage (7, 8)


def could_have_seen(look: Look, damage: Finding) -> bool:
    """Whether a look could have seen a damage (7)."""
    return (look.bare or look.kind == damage.kind) and look.looked_for(damage.symptom, "dead_arm")


class Damages:
    """What lasts in a block, and when each of it ended."""

    def __init__(self, block: Block) -> None:
        self.block = block
        self.findings = [finding for finding in block.enter if finding.symptom in LASTING]
        self.findings.sort(key=lambda finding: (finding.day, finding.id))
        self.runs = self.runs_between_cuts()
        self.silence = [self.silence_that_counts(look) for look in block.looks]
        self.end = {finding.id: self.end_of(finding) for finding in self.findings}

    def looks_at(self, damage: Finding) -> list[Look]:
        """Return the looks, in order, that covered the vine and could have seen the damage."""
        return [look for look in self.block.looks if damage.vine in look.vines and could_have_seen(look, damage)]

    def mentions(self, damage: Finding) -> list[Finding]:
        """Return the findings that mention a damage, its own among them."""
        return [finding for finding in self.findings if finding.mentions(damage)]

    def spoke(self, look: Look, damage: Finding, by: date = date.max) -> bool:
        """Whether a look mentions a damage, in findings up to a day (7)."""
        known = [finding for finding in self.mentions(damage) if finding.day <= by]
        return any(finding.look is look or look.goes_on(finding.day) for finding in known)

    def cuts(self, finding: Finding) -> list[Work]:
        """Return the work that takes a finding away, in order of days."""
        return sorted((work for work in self.block.work if takes(work, finding)), key=lambda work: work.day)

    def runs_between_cuts(self) -> list[list[Finding]]:
        """Return the findings of each damage as written, parted where it was cut between."""
        as_written: dict[object, list[Finding]] = {}
        for finding in self.findings:
            key = (finding.vine, finding.plant, finding.symptom, finding.trunk, finding.arm)
            as_written.setdefault(key, []).append(finding)
        runs = []
        for findings in as_written.values():
            run = findings[:1]
            for before, after in pairwise(findings):
                if any(work.day < after.day for work in self.cuts(before)):
                    runs.append(run)
                    run = []
                run.append(after)
            runs.append(run)
        return runs

    def silence_that_counts(self, last: Look) -> int | None:
        """Return how many silent looks count, as learnt up to a look; None where silence never counts (8)."""
        mentioned = silent = 0
        for run in self.runs:
            known = [finding for finding in run if finding.day <= last.until]
            if not known:
                continue
            for look in self.looks_at(known[0]):
                shown = any(look.until < finding.begins() for finding in known)
                if look.day <= known[0].ends() or not shown:
                    continue
                if self.spoke(look, known[0], by=last.until):
                    mentioned += 1
                else:
                    silent += 1
        looks = mentioned + silent
        return None if looks < 3 else silent_looks(mentioned, looks)

    def unmentioned(self, damage: Finding) -> date | None:
        """Return the last day of the look whose silence ends a damage."""
        mentions = self.mentions(damage)
        walked: list[Look] = []
        for look in self.looks_at(damage):
            walked.append(look)
            if look.until < damage.day:
                continue
            known = [finding for finding in mentions if finding.day <= look.until]
            since = max(finding.ends() for finding in known)
            run = [other for other in walked if other.day > since and not self.spoke(other, damage)]
            needed = self.silence[look.place]
            if run and run[-1] is look and needed is not None and len(run) >= needed:
                return look.until
        return None

    def contradicted(self, damage: Finding) -> date | None:
        """Return the first day on which a damage is contradicted."""
        mentions = self.mentions(damage)
        days = []
        for none in self.block.enter:
            if none.symptom != "none" or not none.may_be_the_part_of(damage) or none.day <= damage.day:
                continue
            if none.look and not could_have_seen(none.look, damage):
                continue
            if not none.look and none.kind == "summer" and damage.kind != "summer":
                continue  # judged by the kind of its day
            at_look = none.look is not None and self.spoke(none.look, damage)
            if not at_look and all(finding.day != none.day for finding in mentions):
                days.append(none.day)
        return min(days, default=None)

    def end_of(self, damage: Finding) -> tuple[str, date | None]:
        """Return how and when a damage ended, "" where it stands."""
        cuts = self.cuts(damage)
        last = self.block.plants[damage.vine][damage.plant or 0].end
        days = (
            cuts[0].day if cuts else None,
            last if last != date.max else None,
            self.contradicted(damage),
            self.unmentioned(damage),
        )
        ends = [(day, place) for place, day in enumerate(days) if day is not None]
        if not ends:
            return "", None
        day, place = min(ends)
        return ENDS[place], day

    def stands_at(self, damage: Finding, day: date) -> bool:
        """Whether a damage stands on a day: cut on it (9) or gone with its plant after it (4) it still does."""
        how, end = self.end[damage.id]
        if damage.day > day:
            return False
        return end is None or end > day or (how in ("cut", "gone") and end == day)


def silent_looks(mentioned: int, looks: int) -> int:
    """Return the smallest k of at least 2 with (1 - p)^k <= 0.05 (8)."""
    silent = 1 - Fraction(2 * mentioned + 1, 2 * (looks + 1))
    k = 2
    while silent**k > Fraction(1, 20):
        k += 1
    return k


# Cases, seasons, conditions, rates (9 to 12)


def seasons_on_record(block: Block) -> set[int]:
    """Return the seasons with a look, a finding or work."""
    seasons = {look.season for look in block.looks}
    for name in ("symptoms", "work"):
        seasons |= {block.calendar.season(day) for day, _ in block.dated[name]}
    return seasons


class Seasons:
    """What a definition says of every vine in every season."""

    def __init__(
        self, block: Block, damages: Damages, definition: str, without_winter: bool, last: int | None = None
    ) -> None:
        self.block, self.damages, self.last = block, damages, last
        self.definition, self.without_winter = definition, without_winter
        self.vines = sorted(block.ground.vines)
        self.seasons = self.span()
        self.cases = self.read_cases()
        self.looked_at = {season: self.vines_looked_at(season) for season in self.seasons}
        self.counted = {season for season in self.seasons if self.looked_at[season]}
        last = max(self.counted, default=0)
        self.compared = {
            season for season in self.counted if self.definition != "any" or self.classes(season) == self.classes(last)
        }
        self.seen: dict[int, set[Vine]] = {season: set() for season in self.seasons}
        self.carried: dict[int, set[Vine]] = {season: set() for season in self.seasons}
        for season in self.seasons:
            for vine in self.vines:
                self.judge_showing(season, vine)
        self.condition = {(season, vine): self.word(season, vine) for season in self.seasons for vine in self.vines}

    def span(self) -> tuple[int, ...]:
        """Return all seasons from the first to the last; to the one that was asked for where it is skipped and others follow."""
        seasons = seasons_on_record(self.block)
        return tuple(range(min(seasons), max(*seasons, self.last or 0) + 1)) if seasons else ()

    # Cases (9)

    def takes_kind(self, look: Look) -> bool:
        """Whether the definition takes looks of that kind."""
        return {"leaf": not look.bare, "dieback": look.bare}.get(self.definition, True)

    def is_case(self, finding: Finding) -> bool:
        """Whether a finding is a case of the definition."""
        if self.without_winter and finding.cause == "winter_injury":
            return False
        if finding.symptom in LEAF_CASES:
            return self.definition in ("leaf", "any")
        if finding.symptom == "dead_spurs" and finding.share is not None and finding.share < 10:
            return False
        return finding.symptom in DIEBACK_CASES and self.definition in ("dieback", "any")

    def counts(self, finding: Finding) -> bool:
        """Whether a finding counts."""
        return self.is_case(finding) and finding.look is not None and self.takes_kind(finding.look)

    def carrying(self, damage: Finding) -> list[Look]:
        """Return the looks, in order, into which a damage is carried."""
        if not self.is_case(damage):
            return []
        looks = [look for look in self.damages.looks_at(damage) if self.takes_kind(look)]
        return [look for look in looks if self.damages.stands_at(damage, look.until)]

    def read_cases(self) -> list[tuple[int, Finding]]:
        """Return every case with the season from which it counts."""
        cases = [(finding.season, finding) for finding in self.block.enter if self.counts(finding)]
        for damage in self.damages.findings:
            looks = self.carrying(damage)
            if not self.counts(damage) and looks:
                cases.append((looks[0].season, damage))
        return cases

    def cases_of(self, vine: Vine, plant: int | None) -> list[tuple[int, Finding]]:
        """Return the cases of one plant."""
        return [case for case in self.cases if (case[1].vine, case[1].plant) == (vine, plant)]

    def judge_showing(self, season: int, vine: Vine) -> None:
        """Enter a vine as seen or carried."""
        plant = self.plant(season, vine)
        if plant is None:
            return
        of_plant = [finding for finding in self.block.enter if (finding.vine, finding.plant) == (vine, plant)]
        if any(finding.season == season and self.counts(finding) for finding in of_plant):
            self.seen[season].add(vine)
        elif any(
            look.season == season
            for damage in self.damages.findings
            if (damage.vine, damage.plant) == (vine, plant)
            for look in self.carrying(damage)
        ):
            self.carried[season].add(vine)

    def showing(self, season: int, vine: Vine) -> bool:
        """Whether a vine shows, seen or carried."""
        return vine in self.seen[season] or vine in self.carried[season]

    # Looked at, counted, compared (10)

    def taking_part(self, season: int) -> list[Look]:
        """Return the looks of a season that take part in the definition."""
        looks = [look for look in self.block.looks if look.season == season and self.takes_kind(look)]
        return [look for look in looks if look.looked_for("dead_arm" if look.bare else "leaf_stripe")]

    def classes(self, season: int) -> set[bool]:
        """Return the classes of looks that are asked for: bare (True), leafy (False)."""
        if self.definition == "any":
            return {look.bare for look in self.taking_part(season)}
        return {self.definition == "dieback"}

    def vines_looked_at(self, season: int) -> set[Vine]:
        """Return the vines that had all looks that are asked for."""
        classes, looks = self.classes(season), self.taking_part(season)
        return {
            vine
            for vine in self.vines
            if classes and all(any(look.bare == bare and vine in look.vines for look in looks) for bare in classes)
        }

    # Conditions (11)

    def day(self, season: int, vine: Vine) -> date:
        """Return the day on which a vine is judged."""
        days = [look.until for look in self.block.looks if look.season == season and vine in look.vines]
        return max(days, default=self.block.calendar.last_day(season))

    def plant(self, season: int, vine: Vine) -> int | None:
        """Return the plant that is judged in a season."""
        return self.block.plant_on(vine, self.day(season, vine))

    def young(self, season: int, vine: Vine, plant: int) -> bool:
        """Whether a plant is a young replant in an old block.

        A replant of less than three seasons in a block of three or more was planted in a later season than the block.
        """
        standing, block = self.block.plants[vine][plant], self.block.planted
        old = block is None or season - block >= 3
        return old and not standing.first and season - self.block.calendar.season(standing.start) < 3

    def word(self, season: int, vine: Vine) -> str:
        """Return the condition of a vine in a season."""
        day, plant = self.day(season, vine), self.plant(season, vine)
        if plant is None:
            return "missing"
        if self.block.found_dead(vine, plant, day):
            return "dead"
        if vine not in self.looked_at[season]:
            return "not seen"
        if self.young(season, vine, plant):
            return "young"
        if self.showing(season, vine):
            return "showing"
        work = [work for work in self.block.work if (work.vine, work.plant) == (vine, plant) and work.day < day]
        earlier = [case for since, case in self.cases_of(vine, plant) if since < season]
        if any(not any(takes(each, case) for each in work) for case in earlier):
            return "hidden"
        return "renewed" if any(each.kind in CLEARING for each in work) else "sound"

    # Rates (12)

    def mature(self, season: int) -> list[Vine]:
        """Return the mature living vines looked at."""
        return [vine for vine in self.vines if self.condition[season, vine] in MATURE]

    def case_by(self, season: int, vine: Vine, plant: int | None) -> bool:
        """Whether a plant was a case by a season."""
        return any(since <= season for since, _ in self.cases_of(vine, plant))

    def new(self, season: int) -> Rate:
        """First cases, of vines at risk (k = 1)."""
        earlier = [other for other in self.compared if other < season]
        at_risk = [
            vine
            for vine in self.mature(season)
            if not self.case_by(season - 1, vine, self.plant(season, vine))
            and any(
                vine in self.looked_at[other] and self.plant(other, vine) == self.plant(season, vine)
                for other in earlier
            )
        ]
        return rate((self.condition[season, vine] == "showing" for vine in at_risk), at_risk)

    def ever(self, season: int) -> Rate:
        """Cases by now, of the plants of the first compared season."""
        first = min(self.compared)
        cohort = self.mature(first)
        return rate((self.case_by(season, vine, self.plant(first, vine)) for vine in cohort), cohort)

    def relapse(self, season: int) -> Rate:
        """Seen again, of vines from which a case was cut and of which no case was found after it before this season."""
        at_risk, again = [], []
        for vine in self.mature(season):
            plant, day = self.plant(season, vine), self.day(season, vine)
            cases = [case for since, case in self.cases_of(vine, plant) if since <= season]
            takings = [[work.day for work in self.block.work if takes(work, case)] for case in cases]
            cuts = [min(days) for days in takings if days and min(days) < day]
            if not cuts:
                continue
            later = [case for case in cases if self.counts(case) and case.day > max(cuts)]
            if any(case.season < season for case in later):
                continue
            at_risk.append(vine)
            again.append(any(case.season == season and case.day <= day for case in later))
        return rate(again, at_risk)

    def died(self, vine: Vine, plant: int, day: date) -> bool:
        """Whether a plant was found dead by a day, or was pulled as dead before it."""
        pulled = self.block.plants[vine][plant]
        as_dead = pulled.end < day and not pulled.reasons.isdisjoint(PULLED_AS_DEAD)
        return as_dead or self.block.found_dead(vine, plant, day)

    def deaths(self, season: int) -> Rate:
        """Dead or pulled as dead, of the plants seen alive at the last counted season, of positions looked at now."""
        earlier = [other for other in self.counted if other < season]
        if not earlier:
            return None
        last = max(earlier)
        followed, dead = [], []
        for vine in self.looked_at[season]:
            plant = self.plant(last, vine)
            if self.condition[last, vine] not in (*MATURE, "young") or plant is None:
                continue
            died = self.died(vine, plant, self.day(season, vine))
            if died or self.plant(season, vine) == plant:  # gone for another reason: in neither number
                followed.append(vine)
                dead.append(died)
        return rate(dead, followed)

    def rates(self) -> dict[tuple[int, str], Rate]:
        """Return every rate of every season, None where there is none."""
        rates: dict[tuple[int, str], Rate] = {}
        for season in self.seasons:
            names = ("annual", "standing", "ever", "new", "relapse", "deaths")
            rates |= {(season, name): None for name in names}
            if season not in self.counted:
                continue
            mature = self.mature(season)
            state = [self.condition[season, vine] for vine in mature]
            rates[season, "annual"] = rate((word == "showing" for word in state), mature)
            rates[season, "standing"] = rate((word in ("showing", "hidden") for word in state), mature)
            rates[season, "relapse"] = self.relapse(season)
            rates[season, "deaths"] = self.deaths(season)
            if season in self.compared:
                rates[season, "ever"], rates[season, "new"] = self.ever(season), self.new(season)
        return rates


def rate(counted: Iterable[bool], among: list[Vine]) -> Rate:
    """Return how many of how many, None where there is nothing to count among."""
    return (sum(counted), len(among)) if among else None


def read_block(
    tables: dict[str, Table],
    block: str,
    *,
    definition: str = "any",
    without_winter: bool = False,
    through: int | None = None,
) -> Reading:
    """Read one block by the rules.

    Parameters
    ----------
    tables : dict
        Records of blocks, rows, plants, surveys, symptoms and work, every version of them.
    block : str
        Label of the block.
    definition : str
        Case definition: any, leaf or dieback.
    without_winter : bool
        Leave out findings of suspected winter injury.
    through : int, optional
        Last season of the history; all where None. Of damages found by then all records speak.

    Returns
    -------
    Reading
        What the rules say.
    """
    placed = Block(tables, block, through)
    damages = Damages(placed)
    whole = placed if through is None else Block(tables, block, None)
    later = through is not None and any(season > through for season in seasons_on_record(whole))
    seasons = Seasons(placed, damages, definition, without_winter, through if later else None)
    reading = Reading(
        seasons=seasons.seasons,
        counted=seasons.counted,
        compared=seasons.compared,
        looked_at=seasons.looked_at,
        condition=seasons.condition,
        seen=seasons.seen,
        carried=seasons.carried,
        rates=seasons.rates(),
        covered={finding.id: finding.covered for finding in placed.findings},
        second={finding.id for finding in placed.findings if finding.second},
    )
    all_damages = damages if through is None else Damages(whole)
    for finding in all_damages.findings:
        if not placed.is_read(finding.day):
            continue
        how, day = all_damages.end[finding.id]
        seen = max(other.day for other in all_damages.mentions(finding))
        reading.damages.setdefault(finding.vine, []).append(
            Damage(finding.vine, finding.day, finding.symptom, finding.trunk, finding.arm, seen, how, day),
        )
    return reading
