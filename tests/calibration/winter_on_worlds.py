"""Winter or disease, in worlds of known truth that another hand made: at the time of asking, one and three seasons later.

Run: python tests/calibration/winter_on_worlds.py [keep=FILE] [blocks of each world] [name of a world ...]

The season asked about is the one after the middle of a record of 12, the cold one in the worlds that have one. Worlds without
weather on record are asked as they are, and at the time once more with weather that is made here: ordinary winters, and one of -31 C
in the season asked about that killed nothing. "Wrong" is cold said where there was none, disease (or both) said where only cold was, and
disease said of new cases most of which are from cold; both is right where cold came on top of disease. In the worlds with a cold winter
the ordinary one before it is asked about too: there cold is wrong.

The second table says how often each sign comes with cold and without, where there are new cases enough, each world with the same
voice, and what it may weigh (`pattern/cold_weights.py`). With `keep=FILE` the sheets are kept after
each block, so that a run that was ended goes on, and signs are weighed anew.
"""

import datetime as dt
import pickle
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pandas as pd

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.spread_on_worlds import ONCE, TABLES
from calibration.worlds import WORLDS, frames_of

from trunkwatch.block.opening import BlockSeason, laid_out
from trunkwatch.history import BlockRecords, build_history, read_block
from trunkwatch.pattern.cold_or_disease import ANSWERS, Answer, WinterSheet, _answer, _cold, winter_sheet
from trunkwatch.pattern.cold_signs import FEWEST_NEW, new_by_season, step_says
from trunkwatch.pattern.cold_weights import MOST, State, weight
from trunkwatch.pattern.winters import ColdNight
from trunkwatch.stats.step import AgainstOthers
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import frame_of, records_of

SEASONS, AFTER, FIRST_SEED = 12, (0, 1, 3), 3000
#: The weather on file: in worlds with a cold winter their own, and the year before it asked about as well.
OWN, BEFORE = "its own", "its own, the winter before"
WINTERS = ("none on file", "ordinary", "one of -31 C that killed nothing")


#: Questions by weather on file and seasons later, and how the table calls them.
COLD_HEADS = {
    (BEFORE, 0): "the winter before, at the time",
    **{(OWN, k): f"{k} later" if k else "at the time" for k in AFTER},
}
OTHER_HEADS = {
    **{(winters, 0): f"at the time, winters: {winters}" for winters in WINTERS},
    **{(WINTERS[0], k): f"{k} later" for k in AFTER if k},
}  # fmt: skip


class Asked(NamedTuple):
    """One question: world, block, seasons later, and which weather is on file."""

    world: str
    seed: int
    later: int
    winters: str


def block_of(world: str, seed: int):
    """Return the reading of a block, where it lies, its weather, the season asked about, and whether cold came in it."""
    simulated = WORLDS[world].make(seed=seed, seasons=SEASONS)
    frames = {table: standing(frame) for table, frame in frames_of(simulated.tables).items()}
    grid, placed, records = laid_out(
        BlockRecords(block=records_of(frames["blocks"])[-1], **{table: frames[table] for table in TABLES})
    )
    season = simulated.block.first + SEASONS // 2 + 1
    return read_block(records, grid), placed, frames["weather"], season, bool(WORLDS[world].truths.get("cold_at"))


def made_weather(seed: int, last: int, winters: str, season: int) -> pd.DataFrame:
    """Return twelve winters: daily lows about a mean of their own, the coldest nights mostly -14 to -22 C."""
    chance = np.random.default_rng([seed, 4711])
    records = []
    for year in range(last - 11, last + 1):
        lows = chance.normal(-5.0 + chance.normal(0, 1.5), 4.5, 90)
        if winters == WINTERS[2] and year == season:
            lows[46:49] = -29.0, -31.0, -27.0
        records += [
            {
                "date": (dt.date(year - 1, 12, 1) + dt.timedelta(days=day)).isoformat(),
                "t_min_c": round(float(low), 1),
                "t_max_c": round(float(low) + 8, 1),
            }
            for day, low in enumerate(lows)
        ]
    return frame_of("weather", records)


def opened(reading, placed, season: int, through: int) -> BlockSeason | None:
    """Return the block as it is on file through a season, asked about another; None where that cannot be."""
    history = build_history(reading, "any", through=through)
    if season not in history.seasons:
        return None
    return BlockSeason(history, None, season, placed, season_bounds(through, reading.hemisphere)[1])


def with_weather(sheet: WinterSheet, seen: BlockSeason, weather: pd.DataFrame) -> WinterSheet:
    """Return the sheet with other weather on file: only the sign of the cold night hangs on it."""
    new = new_by_season(seen.history)
    signs = [one if one.name != "cold" else _cold(seen, weather, new) for one in sheet.signs]
    return replace(
        sheet, signs=tuple(signs), answer=_answer(signs, new[seen.season].cases if seen.season in new else None)
    )


def sheets(job: tuple[str, int]) -> list[tuple[Asked, WinterSheet | None]]:
    """Ask about one block at all times and with all weathers; None where the block cannot be asked."""
    world, seed = job
    reading, placed, weather, season, cold = block_of(world, seed)
    out: list[tuple[Asked, WinterSheet | None]] = []
    if cold:
        seen = opened(reading, placed, season - 1, season - 1)
        days = weather[weather["date"] <= f"{season - 1}-12-31"]
        out.append((Asked(world, seed, 0, BEFORE), winter_sheet(seen, days) if seen else None))
    for later in AFTER:
        seen = opened(reading, placed, season, season + later)
        first = winter_sheet(seen, weather[weather["date"] <= f"{season + later}-12-31"]) if seen else None
        out.append((Asked(world, seed, later, OWN if cold else WINTERS[0]), first))
        for winters in () if cold or later else WINTERS[1:]:
            days = made_weather(seed, season + later, winters, season)
            out.append((Asked(world, seed, later, winters), with_weather(first, seen, days) if first else None))
    return out


def wrong(world: str, winters: str, answer: Answer) -> bool:
    """Tell whether an answer is wrong in a world."""
    if winters != BEFORE and WORLDS[world].truths.get("cold_at"):
        sound = WORLDS[world].truths["cause"] == "cold"
        return answer is Answer.DISEASE or (sound and answer is Answer.BOTH)
    nothing = WORLDS[world].truths.get("cause") == "nothing"
    return answer in (Answer.COLD, Answer.BOTH) or (nothing and answer is Answer.DISEASE)


def chosen() -> list[str]:
    """Names of the worlds that are asked."""
    return [name for name in WORLDS if not name.startswith(("leaves_", "dieback_")) or name in ONCE]


def all_sheets(names: Iterable[str], blocks: int, keep: Path | None) -> list[tuple[Asked, WinterSheet | None]]:
    """Ask all questions, block by block of every world; blocks that were kept are taken from the file and weighed anew."""
    found: list[tuple[Asked, WinterSheet | None]] = []
    if keep is not None and keep.exists():
        found = pickle.loads(keep.read_bytes())  # noqa: S301 - our own file
    done = {asked.seed for asked, _ in found}
    with ProcessPoolExecutor(2) as pool:
        for seed in range(FIRST_SEED, FIRST_SEED + blocks):
            if seed in done:
                continue
            for part in pool.map(sheets, [(name, seed) for name in names], chunksize=4):
                found += part
            if keep is not None:
                keep.write_bytes(pickle.dumps(found))
    return [(asked, sheet and weighed(sheet)) for asked, sheet in found]


def weighed(sheet: WinterSheet) -> WinterSheet:
    """Return the sheet with what its signs say and weigh now, from what was found."""
    signs = []
    for sign in sheet.signs:
        facts = sign.facts
        state = step_says(facts) if isinstance(facts, AgainstOthers) else sign.state
        night = (
            {"winters": facts.winters, "times": facts.times, "far_out": facts.far_out}
            if isinstance(facts, ColdNight)
            else {}
        )
        signs.append(replace(sign, state=state, weight=weight(state, **night)))
    return replace(sheet, signs=tuple(signs), answer=_answer(signs, sheet.new))


def print_answers(found: list[tuple[Asked, WinterSheet | None]]) -> None:
    """Print a line a world, each cell cold, disease, both and cannot tell in %, and the worst at the end."""
    counts: dict[str, dict[tuple[str, int], Counter[Answer]]] = defaultdict(lambda: defaultdict(Counter))
    for asked, sheet in found:
        said = counts[asked.world][asked.winters, asked.later]
        said[sheet.answer if sheet else Answer.CANNOT_TELL] += 1
    print(f"Blocks of each world: {len({asked.seed for asked, _ in found})}. Cells: {', '.join(ANSWERS)}\n")
    worst = []
    for heads in (COLD_HEADS, OTHER_HEADS):
        print(f"| world | {' | '.join(heads.values())} | wrong at most |\n|---|{'---|' * (len(heads) + 1)}")
        for world, asked_ in counts.items():
            if set(asked_) != set(heads):
                continue
            missed = {
                head: 100 * sum(n for answer, n in said.items() if wrong(world, head[0], answer)) / said.total()
                for head, said in asked_.items()
            }
            worst += [(share, world, *head) for head, share in missed.items()]
            cells = [" ".join(f"{100 * asked_[head][a] / asked_[head].total():.0f}" for a in ANSWERS) for head in heads]
            print(f"| {world} | {' | '.join(cells)} | {max(missed.values()):.1f} |")
        print()
    top = max(worst)
    print(
        f"Wrong at most {top[0]:.1f} % ({top[1]}, {top[2]}, {top[3]} seasons later); "
        f"mean {np.mean([one[0] for one in worst]):.2f} %"
    )


def print_weights(found: list[tuple[Asked, WinterSheet | None]]) -> None:
    """Print how often each state comes with cold and without, by seasons later."""
    asked: Counter[tuple[str, int]] = Counter()
    states: Counter[tuple[State, str, int]] = Counter()
    for question, sheet in found:
        if sheet is None or question.winters not in (OWN, WINTERS[0]) or (sheet.new or 0) < FEWEST_NEW:
            continue
        asked[question.world, question.later] += 1
        for sign in sheet.signs:
            states[sign.state, question.world, question.later] += 1
    names = sorted({world for world, _ in asked})
    cold = {name for name in names if WORLDS[name].truths.get("cold_at")}
    print(
        "\n| sign | seasons later | with cold, % | without, % | most without | cold over disease |\n|---|---|---|---|---|---|"
    )
    for state in State:
        for later in AFTER:
            shares = {
                name: states[state, name, later] / asked[name, later] for name in names if asked[name, later] >= 10
            }
            some = [share for name, share in shares.items() if name in cold]
            none = {name: share for name, share in shares.items() if name not in cold}
            if state is State.NOTHING_TO_SAY or not some or not none or not (sum(some) + sum(none.values())):
                continue
            mean = np.mean(list(none.values()))
            ratio = (np.mean(some) + 0.01) / (mean + 0.01)
            most = max(none, key=lambda name: none[name])
            print(
                f"| {state} | {later} | {100 * np.mean(some):.1f} | {100 * mean:.1f} | {100 * none[most]:.0f} ({most}) | "
                f"{min(max(ratio, 1 / MOST), MOST):.2f} |"
            )


def main() -> None:
    """Print both tables."""
    words = sys.argv[1:]
    keep = Path(words.pop(0).removeprefix("keep=")) if words and words[0].startswith("keep=") else None
    began = time.perf_counter()
    blocks = int(words[0]) if words else 100
    found = all_sheets(words[1:] or chosen(), blocks, keep)
    print_answers(found)
    print_weights(found)
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
