"""What this winter's margin weighs as a sign of cold, and how often the sheet is wrong with it, in worlds of known truth.

Run: python tests/calibration/winter_margins.py [keep=FILE] [blocks of each world] [name of a world ...]

The worlds of `winter_on_worlds.py`, asked about the same season, at the time and three seasons later. Weather is made here by
`winter_model.made`, six and twelve winters of the places of `winters.py`, the vines of a cultivar whose error was measured (24 blocks
go through all places and cultivars). In worlds with a cold winter its coldest night killed: it lies 2 C below what truly kills half of the buds, and that lies off the model by an error of the
published size. In worlds without, winters are as they come, or deceive: a night 3 C below what kills half by the model, and the vines
stood it. Every figure is a mean over worlds, each with the same voice, beside the worst world.
"""

import pickle
import sys
import time
from collections import Counter, defaultdict
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from calibration.winter_on_worlds import FIRST_SEED, block_of, chosen, opened, wrong
from calibration.winters import MEASURED, PLACES
from calibration.worlds import WORLDS
from winter_model.made import made_winters

from trunkwatch.cold.days import Weather
from trunkwatch.cold.margins import margins_of
from trunkwatch.cold.models import daily_course
from trunkwatch.pattern.cold_or_disease import ANSWERS, Answer, _answer, _cold, winter_sheet
from trunkwatch.pattern.cold_signs import FEWEST_NEW, new_by_season
from trunkwatch.pattern.cold_weights import State
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.winter_model.cultivars import CULTIVARS

AFTER, WINTERS = (0, 3), (6, 12)
NONE, KILLED, COMES, DECEIVES = "none on file", "a night that killed", "as they come", "a night that killed nothing"
#: Degrees below what truly kills half of the buds, and below what kills half by the model.
BELOW_TRUTH, BELOW_MODEL = 2.0, 3.0


class Row(NamedTuple):
    """What one question brought: world, weather on file, state of the sign, answer."""

    world: str
    weather: str
    state: State
    answer: Answer


@lru_cache(maxsize=64)
def margins(seed: int, season: int, last: int, winters: int, kind: str):
    """Return cultivar and margins of made winters, the last of them `last`, `winters` of them up to the season asked about."""
    name = MEASURED[seed % len(MEASURED)]
    colder = tuple(PLACES.values())[seed // len(MEASURED) % len(PLACES)]
    table = made_winters(season - winters, last, colder=colder, seed=seed)
    if kind != COMES:
        table = _with_night(table, season, name, kind, np.random.default_rng([seed, 815]))
    store = Store.in_memory()
    store.append(
        {"blocks": frame_of("blocks", [{"block": "B", "cultivar": name, "hemisphere": "north"}]), "weather": table}
    )
    return margins_of(store, "B", last)


def _with_night(table, season, name, kind, rng):
    """Put the night of 15 January below the buds: by the truth, or by the model alone."""
    winter = Weather(table).winter(season, "north")
    course = daily_course([winter], CULTIVARS[name])
    day = winter.at((1, 15))
    half = float(course.half_c[0, day - 1 - course.offset]) - course.error.bias_c
    low = half + rng.normal() * course.error.sd_c - BELOW_TRUTH if kind == KILLED else half - BELOW_MODEL
    table.loc[table["date"] == winter.day(day).isoformat(), "t_min_c"] = round(low, 1)
    return table


def asked_of(job):
    """Ask about one block with every weather; (world, seed, later, winters, weather), state of the sign, answer, new cases."""
    world, seed = job
    reading, placed, _, season, cold = block_of(world, seed)
    out = []
    for later in AFTER:
        seen = opened(reading, placed, season, season + later)
        if seen is None:
            continue
        bare = winter_sheet(seen, frame_of("weather", []))
        new = new_by_season(seen.history)
        out.append(((world, seed, later, 0, NONE), State.NOTHING_TO_SAY, bare.answer, bare.new))
        for winters in WINTERS:
            for kind in (KILLED,) if cold else (COMES, DECEIVES):
                sign = _cold(seen, frame_of("weather", []), new, margins(seed, season, season + later, winters, kind))
                signs = [one if one.name != "cold" else sign for one in bare.signs]
                sheet = replace(bare, signs=tuple(signs), answer=_answer(signs, bare.new))
                out.append(((world, seed, later, winters, kind), sign.state, sheet.answer, bare.new))
    return out


def all_asked(names, blocks, keep):
    """Ask all questions, block by block; blocks that were kept are taken from the file."""
    found = pickle.loads(keep.read_bytes()) if keep and keep.exists() else []  # noqa: S301 - our own file
    done = {key[1] for key, *_ in found}
    with ProcessPoolExecutor(2) as pool:
        for seed in range(FIRST_SEED, FIRST_SEED + blocks):
            if seed in done:
                continue
            for part in pool.map(asked_of, [(name, seed) for name in names], chunksize=4):
                found += part
            if keep:
                keep.write_bytes(pickle.dumps(found))
    return found


def _shares(found, tells):
    """Share of questions that tell something, by (later, winters, weather) and world."""
    counts = defaultdict(lambda: defaultdict(Counter))
    for (world, _, *head), state, answer, _ in found:
        counts[tuple(head)][world][bool(tells(Row(world, head[-1], state, answer)))] += 1
    return {
        head: {world: said[True] / said.total() for world, said in worlds.items()} for head, worlds in counts.items()
    }


def _cell(shares):
    top = max(shares, key=lambda name: shares[name])
    return f"{100 * np.mean(list(shares.values())):.1f} | {100 * shares[top]:.0f} ({top})"


def print_states(found):
    """Print how often the sign stands with cold and without, and what it may weigh."""
    some = [one for one in found if (one[3] or 0) >= FEWEST_NEW]
    shares = _shares(some, lambda row: row.state is State.UNUSUAL_WINTER)
    print(
        "| winters on file | seasons later | unusual with cold, % | least | without, % | most | cold over disease | with a deceiving night, % |"
    )
    print("|---|---|---|---|---|---|---|---|")
    for winters in WINTERS:
        for later in AFTER:
            cold, comes, deceives = (shares[later, winters, kind] for kind in (KILLED, COMES, DECEIVES))
            ratio = (np.mean(list(cold.values())) + 0.01) / (np.mean(list(comes.values())) + 0.01)
            least = min(cold, key=lambda name: cold[name])
            print(
                f"| {winters} | {later} | {100 * np.mean(list(cold.values())):.1f} | {100 * cold[least]:.0f} ({least}) | {_cell(comes)} | {ratio:.1f} | "
                f"{100 * np.mean(list(deceives.values())):.1f} |"
            )


def print_answers(found):
    """Print how often the sheet is wrong, and how often it tells anything, mean and worst world."""
    missed = _shares(found, lambda row: wrong(row.world, row.weather, row.answer))
    told = _shares(found, lambda row: row.answer is not Answer.CANNOT_TELL)
    print(f"\nAnswers: {', '.join(ANSWERS)}\n")
    print(
        "| weather | winters on file | seasons later | wrong, mean % | worst | tells, mean % |\n|---|---|---|---|---|---|"
    )
    for head in sorted(missed, key=lambda one: (one[2], one[1], one[0])):
        later, winters, kind = head
        print(
            f"| {kind} | {winters or ''} | {later} | {_cell(missed[head])} | {100 * np.mean(list(told[head].values())):.0f} |"
        )


def main():
    """Print both tables."""
    words = sys.argv[1:]
    keep = Path(words.pop(0).removeprefix("keep=")) if words and words[0].startswith("keep=") else None
    began = time.perf_counter()
    found = all_asked(words[1:] or chosen(), int(words[0]) if words else 24, keep)
    worlds = {key[0] for key, *_ in found}
    cold = sum(bool(WORLDS[name].truths.get("cold_at")) for name in worlds)
    print(
        f"{len({key[1] for key, *_ in found})} blocks of each of {len(worlds)} worlds, {cold} of them with a cold winter\n"
    )
    print_states(found)
    print_answers(found)
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
