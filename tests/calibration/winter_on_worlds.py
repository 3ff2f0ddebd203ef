"""Winter or disease, in worlds of known truth that another hand made: at the time of asking, one and three seasons later.

Run: python tests/calibration/winter_on_worlds.py [blocks of each world] [name of a world ...]
     python tests/calibration/winter_on_worlds.py weights [blocks of each world]

The season asked about is the one after the middle of a record of 12, the cold one in the worlds that have one. Worlds without
weather on record are asked as they are, and once more with weather that is made here: ordinary winters, and one of -31 C in the
season asked about that killed nothing. "Wrong" is cold said where there was none, disease (or both) said where only cold was, and
disease said of new cases most of which are from cold; both is right where cold came on top of disease. In the worlds with a cold winter
the ordinary one before it is asked about too: there cold is wrong.

`weights` prints how often each sign comes with cold and without, each world with the same voice, and what it may weigh.
"""

import datetime as dt
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

from trunkwatch.block.opening import BlockSeason, laid_out, season_of_block
from trunkwatch.errors import TrunkwatchError
from trunkwatch.history import BlockRecords, read_block
from trunkwatch.pattern.cold_or_disease import ANSWERS, Answer, WinterSheet, _answer, _cold, winter_sheet
from trunkwatch.pattern.cold_signs import new_by_season
from trunkwatch.pattern.cold_weights import MOST, State
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import frame_of, records_of

SEASONS, AFTER = 12, (0, 1, 3)
#: The weather on file: in worlds with a cold winter their own, and the year before it asked about as well.
OWN, BEFORE = "its own", "its own, the winter before"
WINTERS = ("none on file", "ordinary", "one of -31 C that killed nothing")


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
    """Return fifteen winters: daily lows about a mean of their own, the coldest nights mostly -14 to -22 C."""
    chance = np.random.default_rng([seed, 4711])
    records = []
    for year in range(last - 14, last + 1):
        lows = chance.normal(-5.0 + chance.normal(0, 1.5), 4.5, 90)
        if winters == WINTERS[2] and year == season:
            lows[46:49] = -29.0, -31.0, -27.0
        records += [{"date": (dt.date(year - 1, 12, 1) + dt.timedelta(days=day)).isoformat(), "t_min_c": round(float(low), 1),
                     "t_max_c": round(float(low) + 8, 1)} for day, low in enumerate(lows)]  # fmt: skip
    return frame_of("weather", records)


def opened(reading, placed, season: int, through: int) -> BlockSeason | None:
    """Return the block as it is on file through a season, asked about another; None where that cannot be."""
    try:
        seen = replace(season_of_block(reading, placed, through), season=season)
        seen.history.index_of(season)
    except TrunkwatchError:
        return None
    return seen


def with_weather(sheet: WinterSheet, seen: BlockSeason, weather: pd.DataFrame) -> WinterSheet:
    """Return the sheet with other weather on file: only the sign of the cold night hangs on it."""
    new = new_by_season(seen.history)
    signs = [one if one.name != "cold" else _cold(seen, weather, new) for one in sheet.signs]
    return replace(sheet, signs=tuple(signs), answer=_answer(signs, new.get(seen.season)))


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
        for winters in () if cold else WINTERS[1:]:
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


def all_sheets(names: Iterable[str], blocks: int):
    """Yield every question and its sheet, world by world."""
    jobs = [(name, 3000 + seed) for name in names for seed in range(blocks)]
    with ProcessPoolExecutor(2) as pool:
        for found in pool.map(sheets, jobs, chunksize=4):
            yield from found


def print_answers(names: list[str], blocks: int) -> None:
    """Print a line a world, weather and time, and the worst at the end."""
    counts: dict[tuple[str, str, int], Counter[Answer]] = defaultdict(Counter)
    for asked, sheet in all_sheets(names, blocks):
        counts[asked.world, asked.winters, asked.later][sheet.answer if sheet else Answer.CANNOT_TELL] += 1
    print("| world | winters on file | seasons later | " + " | ".join(ANSWERS) + " | wrong |")
    print("|---|---|---|" + "---|" * (len(ANSWERS) + 1))
    worst = []
    for (world, winters, later), said in counts.items():
        missed = sum(number for answer, number in said.items() if wrong(world, winters, answer))
        worst.append((100 * missed / blocks, world, winters, later))
        print(f"| {world} | {winters} | {later} | " + " | ".join(f"{100 * said[a] / blocks:.0f}" for a in ANSWERS)
              + f" | {100 * missed / blocks:.0f} |")  # fmt: skip
    top = max(worst)
    print(f"\nWrong at most {top[0]:.1f} % ({top[1]}, {top[2]}, {top[3]} seasons later); "
          f"mean {np.mean([one[0] for one in worst]):.2f} %")  # fmt: skip


def print_weights(names: list[str], blocks: int) -> None:
    """Print how often each state comes with cold and without, by seasons later."""
    asked: Counter[tuple[str, int]] = Counter()
    states: dict[tuple[State, str, int], int] = Counter()
    for question, sheet in all_sheets(names, blocks):
        if sheet is None or question.winters not in (OWN, WINTERS[1]) or not sheet.new or sheet.new < 5:
            continue
        asked[question.world, question.later] += 1
        for sign in sheet.signs:
            states[sign.state, question.world, question.later] += 1
    cold = [name for name in names if WORLDS[name].truths.get("cold_at")]
    print("| sign | seasons later | with cold, % | without, % | most without, % | cold over disease |\n|---|---|---|---|---|---|")
    for state in State:
        for later in AFTER:
            shares = {name: states[state, name, later] / asked[name, later] for name in names if asked[name, later] >= 10}
            some = [shares[name] for name in names if name in shares and name in cold]
            none = [shares[name] for name in names if name in shares and name not in cold]
            if state is State.NOTHING_TO_SAY or not (sum(some) + sum(none)):
                continue
            ratio = (np.mean(some) + 0.01) / (np.mean(none) + 0.01)
            print(f"| {state} | {later} | {100 * np.mean(some):.1f} | {100 * np.mean(none):.1f} | {100 * max(none):.1f} | "
                  f"{min(max(ratio, 1 / MOST), MOST):.2f} |")  # fmt: skip


def main() -> None:
    """Print the table that is asked for."""
    words = sys.argv[1:]
    began = time.perf_counter()
    weights = bool(words) and words[0] == "weights"
    words = words[1:] if weights else words
    blocks = int(words[0]) if words else 100
    (print_weights if weights else print_answers)(words[1:] or chosen(), blocks)
    print(f"\n{blocks} blocks of each world, {time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
