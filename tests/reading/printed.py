"""What the pages print of each vine beside the second reader: map, plan, list of the report, crew's lists, phone, history.

The facts come from ``on_paper.py``, which shares nothing with the package; here they are put into the words of the
pages, of which the package's vocabulary (what a code is called) is the only thing taken over.
"""

import re
from collections import Counter
from collections.abc import Iterator
from typing import Any

from reading.laid import Vine, text
from reading.on_paper import NO_CONDITION, Pages, Planned
from reading.record_words import finding_text, named_as, plants_texts, with_part, work_text
from reading.roads import NothingPrintedError, Printed, printed_of

from trunkwatch.vineyard import codes

Tables = dict[str, list[dict[str, Any]]]

#: Of each sequence so many vines have their history printed.
HISTORIES = 4
_CUTS = ("renew_arm", "renew_trunk", "cut_old_trunk")
_ENDS = {
    "contradicted": "inspected closely on {day}: nothing seen",
    "unmentioned": "not recorded again at {looks} inspections in a row, by {day}",
}
_LISTS = {
    "Mark": ("mark", "watch", "lab_sample"), "Leave this shoot": ("keep_shoot",), "Replant": ("replant",), "Finish training": ("train",), "Train first": ("train_first",),
    "Cut": ("renew_arm", "renew_trunk", "cut_old_trunk", "remove", "regraft", "curettage", "protect_wound"), "Clean up": ("clear_mummies",),
}  # fmt: skip
_CASUAL = " (seen in passing, in no rate)"


def differences_printed(
    tables: Tables,
    definition: str,
    season: int | None = None,
    *,
    histories: int = HISTORIES,
    reference: Tables | None = None,
) -> list[str]:
    """Return where a page says otherwise than the second reader, in words; empty where all say the same.

    Parameters
    ----------
    tables : dict
        Written records of one block, every version of them.
    definition : str
        Case definition: any, leaf or dieback.
    season : int, optional
        The season that pages are asked for; the usual one where left out.
    histories : int
        Vines whose history is printed and compared, those with the most records first.
    reference : dict, optional
        What the second reader reads; the same tables where left out.
    """
    if not any(tables[name] for name in ("surveys", "symptoms", "work")):
        return []
    block = str(tables["blocks"][0]["block"])
    read = tables if reference is None else reference
    pages = Pages(read, block, definition, season)
    if season is not None and season not in pages.seasons.seasons:
        return []  # the commands refuse a season of which nothing is written
    with printed_of(tables, block, definition, season) as printed:
        return [
            *_of_map(printed, pages),
            *_of_plan(printed, pages),
            *_of_report(printed, pages),
            *_of_crew_lists(printed, read, season, pages),
            *_of_phone(printed, read, season, pages),
            *_of_cases(printed, pages),
            *_of_history(printed, pages, histories),
        ]


def _differ(what: str, mine: Any, other: Any) -> Iterator[str]:
    if mine != other:
        yield f"{what}: printed {mine!r}, reference {other!r}"


def _differ_by(what: str, mine: dict[Any, Any], other: dict[Any, Any]) -> Iterator[str]:
    for key in sorted({*mine, *other}, key=str):
        yield from _differ(f"{what} {key}", mine.get(key), other.get(key))


# Map


def _of_map(printed: Printed, pages: Pages) -> Iterator[str]:
    data, sentence = printed.map()
    rows = [row for row, _, many in data["runs"] for _ in range(many)]
    vines = [(data["labels"][row], position) for row, position in zip(rows, data["position"], strict=True)]
    yield from _differ("map.vines", sorted(vines), pages.vines)
    yield from _differ("map.opens_with", data["seasons"][data["first"]]["season"], pages.season)
    other = pages.map_seasons()
    yield from _differ("map.seasons", [one["season"] for one in data["seasons"]], [one.season for one in other])
    words = {digit: _READ_AS.get(look["word"], look["word"]) for digit, look in data["looks"].items()}
    for one, two in zip(data["seasons"], other, strict=True):
        at = f"{two.season}"
        condition = {vine: words.get(digit, digit) for vine, digit in zip(vines, one["condition"], strict=True)}
        yield from _differ_by(f"map.condition {at}", condition, two.condition)
        yield from _differ(f"map.counted {at}", one["counted"], two.counted)
        yield from _differ(f"map.line {at}", _counts(one["line"]), _line_of(two))
        yield from _differ(f"map.work {at}", sorted(vines[at] for at in one["work"]), sorted(two.worked))
        yield from _differ(f"map.outside {at}", sorted(vines[at] for at in one["outside"]), sorted(two.outside))
        yield from _differ(f"map.foci {at}", {condition[vines[v]] for v, _ in one.get("foci", [])} - {"showing"}, set())
        if two.season == pages.season:
            yield from _differ("map.sentence", sentence, _sentence(two, one["line"], data))
    mine = {vine: data["events"].get(str(at), []) for at, vine in enumerate(vines)}
    told = {vine: sorted(_event(event) for event in events) for vine, events in pages.events().items()}
    yield from _differ_by("map.events", {vine: sorted(map(tuple, lines)) for vine, lines in mine.items()}, told)
    for vine, lines in mine.items():
        yield from _differ(f"map.order {vine}", [day for day, _ in lines], sorted(day for day, _ in lines))


#: What a map calls a condition -> what the rules call it.
_READ_AS = {"showed before": "hidden", "retrained": "renewed", "no symptoms": "sound", "not scouted": "not seen"}


def _event(event: Any) -> tuple[str, str]:
    words = {"symptoms": finding_text, "work": work_text}
    if event.what in words:
        return event.day, words[event.what](event.record) + (_CASUAL if event.casual else "")
    if event.what == "planted":
        return event.day, "vine planted"
    return event.day, "vine gone, dead" if event.died else "vine gone"


def _counts(line: str) -> tuple[Any, ...]:
    """Return what the line under a map says: showing, of how many, seen, carried, and whether it is drawn apart."""
    found = re.fullmatch(
        r"showing (\d+) of (\d+) scouted(?: \((\d+) seen, (\d+) noted before and not cut\))?(; only .*)?", line
    )
    if not found:
        return ("not counted",) if line.startswith("not counted: ") else (line,)
    cases, vines, seen, carried = (int(part) if part else None for part in found.groups()[:4])
    return cases, vines, cases if seen is None else seen, carried or 0, bool(found[5])


def _line_of(season: Any) -> tuple[Any, ...]:
    if season.annual is None:
        return ("not counted",)
    return (*season.annual, season.seen, season.carried, not season.compared)


def _sentence(season: Any, line: str, data: dict[str, Any]) -> str:
    counts = Counter(season.condition.values())
    shown = [look["word"] for look in _looks(data)]
    listed = ", ".join(
        f"{counts[_READ_AS.get(word, word)]} {word}" for word in shown if counts[_READ_AS.get(word, word)]
    )
    rows = [label for label in data["labels"] if label]
    span = f"rows {rows[0]} to {rows[-1]}" if len(rows) > 1 else f"row {rows[0]}"
    return f"Season {season.season}, case definition {data['definition']}: {line} (mature living vines). Positions: {listed}. Drawn: {span}."


def _looks(data: dict[str, Any]) -> list[dict[str, Any]]:
    order = ("showing", "showed before", "dead", "retrained", "young", "no symptoms", "not scouted", "missing")
    return sorted(data["looks"].values(), key=lambda look: order.index(look["word"]))


# Plan


def _of_plan(printed: Printed, pages: Pages) -> Iterator[str]:
    facts = pages.plan()
    for prices in (False, True):
        try:
            plan = printed.plan(prices=prices)
        except NothingPrintedError as refused:
            yield from _differ("plan.refused", "no counted season" in str(refused), not pages.seasons.compared)
            return
        yield from _differ("plan.season", plan["season"], pages.season)
        by_vine: dict[Vine, list[dict[str, Any]]] = {vine: [] for vine in pages.vines}
        for piece in plan["work"]:
            by_vine[piece["row"], piece["position"]].append(piece)
        for vine, pieces in by_vine.items():
            yield from _of_vine(vine, pieces, facts[vine])


def _of_vine(vine: Vine, pieces: list[dict[str, Any]], facts: Planned) -> Iterator[str]:
    rules = {piece["rule"] for piece in pieces}
    if facts.gone_since:
        yield from _differ(f"plan.gone_since {vine}", rules, set() if facts.stands else {"replant_dead"})
        return
    for piece in pieces:
        yield from _of_piece(f"{vine} {piece['kind']}", piece, facts)
    yield from _of_pieces(vine, pieces, facts)


def _of_piece(at: str, piece: dict[str, Any], facts: Planned) -> Iterator[str]:
    """Hold one piece of proposed work against what the second reader says of its vine."""
    said, rule, why = facts.said, piece["rule"], piece["why"]
    last_seen = said.shoot_seen if rule == "keep_shoot" else said.last_seen
    yield from _differ(f"plan.last_seen {at}", piece["last_seen"], last_seen)
    yield from _differ(f"plan.day_in_reason {at}", "".join(re.findall(r"; last seen (\S+)$", why)), last_seen)
    trained = rule == "train_first" and not why.startswith("train a shoot")
    if piece["kind"] in (*_CUTS, "mark") or trained:
        # What was planted after the last look of the season is on no list (13), and marked where damage stands on it.
        listed = said.listed or (piece["kind"] == "mark" and bool(said.damages))
        yield from _differ(f"plan.listed {at}", True, listed)
        yield from _differ(f"plan.part {at}", why.split(";")[0], _parts(facts))
        yield from _differ(f"plan.in_doubt_cut {at}", False, said.again and facts.condition != "showing")
    if trained:
        yield from _differ(f"plan.not_good_yet {at}", (facts.placed_shoot, facts.usable_shoot), (True, False))
        word = codes.SHOOT_QUALITIES.get(said.shoot_quality, "not said")
        yield from _differ(f"plan.quality {at}", f"the shoot is {word}" in why, True)
        _, trunk, arm = _cut(facts)
        yield from _differ(f"plan.trained_for {at}", (piece["trunk"], piece["arm"]), (trunk, arm))
    elif piece["kind"] in _CUTS:
        this_winter = piece["kind"] != "cut_old_trunk" and piece["winter"] == 0
        not_good = this_winter and facts.placed_shoot and not facts.usable_shoot
        yield from _differ(f"plan.cut_to_a_shoot_not_good {at}", not_good, False)
        yield from _differ(f"plan.cut {at}", (piece["kind"], piece["trunk"], piece["arm"]), _cut(facts))
        no_shoot = piece["kind"] != "cut_old_trunk" and not facts.placed_shoot
        yield from _differ(f"plan.no_shoot {at}", "no shoot to retrain is noted" in why, no_shoot)
        rootstock = no_shoot and said.shoot == "below_union"
        yield from _differ(f"plan.rootstock {at}", "rootstock" in why, rootstock)
    elif rule == "look_again":
        yield from _differ(f"plan.again {at}", True, said.again)
    elif rule == "watch":
        yield from _differ(
            f"plan.showed_before {at}", (facts.showed_before, facts.condition != "showing"), (True, True)
        )
    elif rule == "keep_shoot":
        shoot = codes.RENEWAL_SHOOTS[said.shoot].split(":")[0] if said.shoot else "none"
        yield from _differ(f"plan.shoot {at}", why.split(";")[0], f"a shoot {shoot} is there")
        yield from _differ(f"plan.shoot_usable {at}", True, facts.placed_shoot)


def _of_pieces(vine: Vine, pieces: list[dict[str, Any]], facts: Planned) -> Iterator[str]:
    """Hold against the second reader what is proposed for a vine as a whole, and that nothing is left out."""
    rules = {piece["rule"] for piece in pieces}
    said = facts.said
    no_vine = not facts.stands or facts.found_dead
    yield from _differ(f"plan.no_living_vine {vine}", "replant_dead" in rules, no_vine)
    yield from _differ(f"plan.untidy {vine}", "clear" in rules, facts.untidy)
    if no_vine:
        return
    cut_or_marked = any(piece["kind"] in (*_CUTS, "mark", "train_first") for piece in pieces)
    if said.damages:
        yield from _differ(f"plan.damage {vine}", cut_or_marked, True)
    if said.again and facts.condition != "showing":
        yield from _differ(f"plan.look_again {vine}", ("look_again" in rules, cut_or_marked), (True, False))


def _parts(facts: Planned) -> str:
    """Say which parts are affected, and how much of the worst is dead."""
    if not facts.arms and not facts.trunks:
        return "shows, no dead part on record"
    named = sorted(facts.trunks - {0})
    parts = []
    if facts.trunks:
        parts.append(f"trunk {', '.join(map(str, named))}" if named else "the trunk")
    if facts.arms:
        arms = " and the ".join(arm.replace("_", " ") for arm in sorted(facts.arms) if arm)
        parts.append(f"the {arms} arm" if arms else "an arm (not said which)")
    share = "" if facts.said.percent is None else f", {facts.said.percent:.0f} % dead"
    worst = " at the worst" if share and len(facts.trunks) + len(facts.arms) > 1 else ""
    return f"{' and '.join(parts)} affected{share}{worst}"


def _cut(facts: Planned) -> tuple[str, int, str]:
    """Say what is to be cut, by the rules of the plan."""
    named = sorted(facts.trunks - {0})
    if facts.of_how_many > 1 and len(named) == 1 and not facts.arms:
        return "cut_old_trunk", named[0], ""
    if facts.trunks or len(facts.arms) != 1:
        return "renew_trunk", named[0] if len(named) == 1 else 0, ""
    return "renew_arm", 0, next(iter(facts.arms))


# The list of the winter, which report, desk and terminal show


def _of_report(printed: Printed, pages: Pages) -> Iterator[str]:
    try:
        lines = printed.winter_list()
    except NothingPrintedError as refused:
        yield from _differ("report.refused", str(refused), "")
        return
    said = {vine: pages.speaker.speak(vine) for vine in pages.vines}
    listed = {vine: words for vine, words in said.items() if words.listed}
    mine = {(line["row"], line["position"]): line for line in lines}
    yield from _differ("report.missing", sorted(set(listed) - set(mine)), [])
    yield from _differ(
        "report.seen", sorted(vine for vine, line in mine.items() if line["seen"] and vine not in listed), []
    )
    other = {}
    for vine, words in listed.items():
        last_seen = words.last_seen or pages.last_case(vine)
        seen = _seen_on(pages, vine, last_seen)
        stands = seen != "already cut"
        other[vine] = [
            seen if stands else "",
            last_seen if stands else "",
            "" if words.list_percent is None else f"{words.list_percent:.0f} %",
            codes.RENEWAL_SHOOTS[words.shoot] if words.shoot else "",
            str(words.list_seasons),
        ]
    told = {
        vine: [
            "; ".join(sorted(line["seen"].split("; "))),
            line["last_seen"] or "",
            "" if line["percent_dead"] is None else f"{line['percent_dead']:.0f} %",
            line["shoot"],
            str(line["seasons"]),
        ]
        for vine, line in mine.items()
        if vine in listed
    }
    yield from _differ_by("report.list", told, other)
    usable = {vine for vine, words in listed.items() if pages.is_usable(words)}
    yield from _differ(
        "report.shoots", sorted(v for v in listed if v in mine and mine[v]["shoot_usable"]), sorted(usable)
    )


def _pointed_at(trunk: int, arm: str) -> str:
    """Name a part as people point at it where no bearing is written."""
    named = [f"trunk {trunk}"] if trunk else []
    if arm == "head":
        named.append("head")
    elif arm:
        side = {"start": "toward vine 1", "end": "away from vine 1"}[arm.rsplit("_", maxsplit=1)[-1]]
        place = {"upper": "upper ", "lower": "lower ", "near": "near-side ", "far": "far-side "}
        named.append(f"{place[arm.split('_', maxsplit=1)[0]] if '_' in arm else ''}arm {side}")
    return ", ".join(named)


def _seen_on(pages: Pages, vine: Vine, last_seen: str = "") -> str:
    """Say what stands on a vine; with a day beside it, what was last seen on another day says the year of that."""
    parts, newest = [], {}
    for symptom, trunk, arm, how, day, looks in pages.what_is_listed(vine):
        plain, where = re.split(r":| \(", codes.SYMPTOMS[symptom])[0], _pointed_at(trunk, arm)
        if how:
            parts.append(f"{with_part(plain, trunk, arm)}, {_ENDS[how].format(day=day, looks=looks)}")
        else:
            newest[plain, where] = max(newest.get((plain, where), ""), day)
    for (plain, where), day in newest.items():
        beside = ", ".join(part for part in (where, day[:4] if last_seen and day != last_seen else "") if part)
        parts.append(f"{plain} ({beside})" if beside else plain)
    return "; ".join(sorted(dict.fromkeys(parts))) or "already cut"


# Lists for the crew, phone, vines behind a rate


def _of_crew_lists(printed: Printed, tables: Tables, season: int | None, pages: Pages) -> Iterator[str]:
    """Hold the lists against what is planned; which vines are to be looked at again is what the list of the winter prints."""
    again = printed.look_again()
    speaker = Pages(tables, pages.label, "any", season).speaker if again else None
    mine: Counter[tuple[Any, ...]] = Counter()
    for name, lines in printed.crew_lists().items():
        for line in lines:
            mine[
                name,
                line["row"],
                line["vine"],
                line.get("bay, vine", ""),
                line["what to do"],
                line["note"],
                line["last seen"],
            ] += 1
    other: Counter[tuple[Any, ...]] = Counter()
    for one in pages.crew_lists():
        name = next(name for name, kinds in _LISTS.items() if one.kind in kinds)
        if one.kind == "watch" and one.vine in again:
            name, again = "Look again", again - {one.vine}
        where = _pointed_at(one.trunk, one.arm)
        height = "" if one.cut_height_cm is None else f"; cut at {one.cut_height_cm:.0f} cm"
        do = f"{codes.WORK_KINDS[one.kind]}{f': {where}' if where else ''}{height}"
        other[name, one.vine[0], str(one.vine[1]), _bay(one.bay), do, one.note, one.seen] += 1
    for vine in again:
        assert speaker is not None
        last_seen = speaker.speak(vine).last_seen
        other["Look again", vine[0], str(vine[1]), _bay(pages.bay(vine)), "look again", "", last_seen] += 1
    yield from _differ("lists.lines", sorted((mine - other).elements()), sorted((other - mine).elements()))


def _bay(bay: tuple[int, int] | None) -> str:
    return f"{bay[0]}, {bay[1]}" if bay else ""


def _of_phone(printed: Printed, tables: Tables, season: int | None, pages: Pages) -> Iterator[str]:
    walked = season if season is not None else pages.last_noted()
    data = printed.phone(walked)
    yield from _differ("phone.season", data["season"], walked)
    other = Pages(tables, pages.label, "any", walked).phone(walked)
    mine = {}
    for row in data["rows"]:
        for at, position in enumerate(range(row["first"], row["last"] + 1)):
            found = row["found"].get(str(position))
            mine[row["label"], position] = {
                "missing": position in row["missing"],
                "young": position in row["young"],
                "known": _word(row["known"][at]),
                "known_in": row["known_in"][at],
                "found": tuple(found) if found else None,
            }
    yield from _differ("phone.vines", sorted(mine), sorted(other))
    for vine, facts in other.items():
        for name, fact in facts.items():
            yield from _differ(f"phone.{name} {vine}", mine[vine][name], fact)


def _word(condition: int) -> str:
    """Return what the phone calls a condition: its own list, in the order of the numbers."""
    return ("", "missing", "dead", NO_CONDITION, "young", "showing", "renewed", "hidden", "sound")[condition]


def _of_cases(printed: Printed, pages: Pages) -> Iterator[str]:
    yield from _differ_by(
        "cases.last_seen", printed.cases(), pages.showing_now() if pages.season in pages.seasons.counted else {}
    )


# History


def _of_history(printed: Printed, pages: Pages, histories: int) -> Iterator[str]:
    history = pages.history()
    longest = sorted(history, key=lambda vine: (-len(history[vine]), vine))
    for vine in longest[:histories]:
        mine = sorted(
            (line["id"], line["table"], line["date"], line["fate"], line["corrects"], line["text"])
            for line in printed.history(vine)
        )
        other = []
        for version in history[vine]:
            record = version.record
            if version.table == "plants":
                lines = plants_texts(record)
            else:
                lines = [(text(record, "date"), (finding_text if version.table == "symptoms" else work_text)(record))]
            also = named_as(record, vine, by_counting=version.table == "symptoms")
            other += [
                (text(record, "id"), version.table, day, version.fate, text(record, "corrects"), words + also)
                for day, words in lines
            ]
        yield from _differ(
            f"history.lines {vine}",
            [one for one in mine if one not in other],
            [one for one in sorted(other) if one not in mine],
        )
        yield from _differ(f"history.number {vine}", len(mine), len(other))
