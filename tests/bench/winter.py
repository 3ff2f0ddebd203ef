"""How fast the winter is: the window of one block, and the crew's weeks of forty. Run: python tests/bench/winter.py"""

import datetime as dt
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from cold.test_crew_plan import make
from winter_model.made import made_winters

from trunkwatch.block import open_vineyard
from trunkwatch.cold import Measure, Weather, ahead_of, cold_of_block, window_of, with_measure
from trunkwatch.cold.crew_of_store import CrewAsked, crew_plan_of_store
from trunkwatch.cold.crew_plan import Crew
from trunkwatch.renewal.costs import costs_of
from trunkwatch.vineyard.tables import empty_frame, frame_of

ROUNDS = 5


def _middle(work):
    """Middle of the rounds, in seconds of the processor and by the clock."""
    spent = []
    for _ in range(ROUNDS):
        processor, clock = time.process_time(), time.perf_counter()
        work()
        spent.append((time.process_time() - processor, time.perf_counter() - clock))
    return tuple(statistics.median(column) for column in zip(*spent, strict=True))


def main() -> None:
    """Print the figures."""
    table = made_winters(1990, 2026, colder=5, seed=3)
    day = dt.date(2025, 11, 15)
    forecast = frame_of(
        "weather",
        [{"date": (day + dt.timedelta(days=k)).isoformat(), "t_min_c": -6.0, "t_max_c": 2.0} for k in range(1, 17)],
    )
    prices = costs_of(empty_frame("costs"))

    def plain() -> None:
        weather = Weather(table)
        found = window_of(cold_of_block("Top", "Riesling", weather, day, hemisphere="north", latitude=44.0), weather)
        assert found is not None
        assert len(found.winters) == 30

    def whole() -> None:
        weather = Weather(table)
        cold = cold_of_block("Top", "Riesling", weather, day, hemisphere="north", latitude=44.0)
        found = window_of(cold, weather, ahead=ahead_of(forecast, weather, day))
        assert found is not None
        for measure in Measure:
            with_measure(found, measure, prices)

    for name, work in (("window, one block, 30 winters", plain), ("the same with a forecast and both measures", whole)):
        processor, clock = _middle(work)
        print(f"{name}: {processor:.2f} s of the processor, {clock:.2f} s by the clock")
    with tempfile.TemporaryDirectory() as folder, open_vineyard(make(Path(folder) / "forty", 40)) as store:
        for name, more in (
            ("weeks, 40 blocks of 500 vines, 22 winters", {}),
            ("the same with a forecast", {"forecast": _shifted(forecast)}),
        ):
            processor, clock = _middle(
                lambda more=more: crew_plan_of_store(store, dt.date(2026, 11, 15), CrewAsked(Crew(120), **more))
            )
            print(f"{name}: {processor:.2f} s of the processor, {clock:.2f} s by the clock")


def _shifted(forecast):
    """The same days a year later."""
    return forecast.assign(date=[f"{int(day[:4]) + 1}{day[4:]}" for day in forecast["date"]])


if __name__ == "__main__":
    main()
