"""trunkwatch.history: build, block_history, block_records, condition, damage, definitions, looks, places, plants, reading, reason_words, reasons, silence.

Likewise plant_fates, rates, vine, vine_part, words and written: the golden example and the rule's corners.
"""

import numpy as np
import pandas as pd
import pytest

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, Condition, build_history, left_out, rate, rates, read_block
from trunkwatch.history.reason_words import season_note_words
from trunkwatch.history.words import vine_lines
from trunkwatch.vineyard.tables import frame_of


def records(tables) -> BlockRecords:
    frames = {name: frame_of(name, tables.get(name, [])) for name in ("rows", "plants", "surveys", "symptoms", "work")}
    return BlockRecords(block=frame_of("blocks", tables["blocks"]).iloc[0].to_dict(), **frames)


def history_of(tables, definition="any", **options):
    found = records(tables)
    grid = RowGrid.from_tables(found.block, found.rows)
    return build_history(read_block(found, grid), definition, **options)


def words(history, season):
    line = history.condition[history.index_of(season)][0]
    return [Condition(value).name.lower() for value in line if value != Condition.NO_POSITION]


def test_golden_conditions(golden):
    history = history_of(golden.TABLES)
    for season, expected in golden.CONDITIONS.items():
        assert words(history, season) == expected.split(), season
    assert history.counted_seasons == golden.SEASONS


def test_golden_rates(golden):
    history = history_of(golden.TABLES)
    for name, by_season in golden.RATES.items():
        for season, expected in by_season.items():
            found = rate(history, name, season)
            if expected is None:
                assert found.vines == 0, (name, season)
                assert "first counted season" in found.reason
            else:
                assert (found.cases, found.vines) == expected, (name, season)
            assert found.at_least == (name == "ever" and season in golden.AT_LEAST)


def test_golden_relapse(golden):
    """P4's arm was renewed in February 2025 and it showed again in August; P3 has not."""
    history = history_of(golden.TABLES)
    relapse = {season: rate(history, "relapse", season) for season in golden.SEASONS}
    assert (relapse[2025].cases, relapse[2025].vines) == (1, 2)
    assert (relapse[2026].cases, relapse[2026].vines) == (0, 1)


def test_every_number_opens(golden):
    """Numerator, denominator and reasons together name every position once."""
    history = history_of(golden.TABLES)
    for by_name in rates(history):
        for found in by_name.values():
            named = [vine for reason in left_out(history, found) for vine in reason.vines]
            assert len(named) == len(set(named))
            assert len(named) + found.vines == 8
    annual = rate(history, "annual", 2025)
    assert {r.reason: len(r.vines) for r in left_out(history, annual)} == {
        "not scouted this season": 3,
        "no vine in this position": 1,
    }


def without(tables, **changes):
    return {**tables, **changes}


def test_not_looked_at_is_never_healthy(golden):
    """Taking the surveys away leaves no vine sound and no season counted."""
    history = history_of(without(golden.TABLES, surveys=[]))
    assert not np.isin(history.condition, (Condition.SOUND, Condition.SHOWING)).any()
    assert history.counted_seasons == ()
    assert {look.reason for look in history.looks} == {"no survey"}


def test_a_season_counts_only_where_its_looks_took_place(golden):
    summer = [s for s in golden.SURVEYS if s["look"] == "summer"]
    tables = without(golden.TABLES, surveys=summer)
    assert history_of(tables, "dieback").counted_seasons == ()
    assert history_of(tables, "leaf").counted_seasons == golden.SEASONS
    assert history_of(tables, "dieback").looks[0].reason == "no dormant or spring inspection"
    assert (
        history_of(tables, "any").compared_seasons == golden.SEASONS
    )  # whatever was seen at the looks that took place


def test_a_casual_finding_enters_no_rate(golden):
    extra = {"block": "G", "row": "1", "position": "8", "date": "2024-10-01", "symptom": "leaf_stripe"}
    before = history_of(golden.TABLES)
    history = history_of(without(golden.TABLES, symptoms=[*golden.SYMPTOMS, extra]))
    assert np.array_equal(before.condition, history.condition)
    (line,) = vine_lines(history.reading, (0, 7))
    assert line.casual


def test_without_winter_keeps_the_mask(golden):
    symptoms = [
        {**line, "cause": "winter_injury"} if line["symptom"] == "dead_arm" else line for line in golden.SYMPTOMS
    ]
    tables = without(golden.TABLES, symptoms=symptoms)
    full, less = history_of(tables), history_of(tables, without_winter=True)
    assert np.array_equal(full.looked_at, less.looked_at)
    assert words(full, 2024)[3] == "showing"
    assert words(less, 2024)[3] == "sound"
    assert (rate(less, "annual", 2024).cases, rate(less, "annual", 2024).vines) == (1, 6)


@pytest.mark.parametrize("cause", ["trunk_disease", "both", "unknown", ""])
def test_without_winter_leaves_out_winter_injury_alone(golden, cause):
    symptoms = [{**line, "cause": cause} if line["symptom"] == "dead_arm" else line for line in golden.SYMPTOMS]
    tables = without(golden.TABLES, symptoms=symptoms)
    full, less = history_of(tables), history_of(tables, without_winter=True)
    assert np.array_equal(full.condition, less.condition)
    assert words(less, 2024)[3] == "showing"


def test_lasting_findings_are_carried_until_work_clears_them(golden):
    """A dead arm of 2024 shows in 2025 and 2026 too where nobody cut it, mentioned or not."""
    tables = without(golden.TABLES, work=[], symptoms=[golden.SYMPTOMS[3]])
    history = history_of(tables)
    assert [words(history, season)[3] for season in (2024, 2025, 2026)] == ["showing"] * 3


@pytest.mark.parametrize(("kind", "expected"), [("renew_arm", "hidden"), ("renew_trunk", "renewed")])
def test_renewing_an_arm_does_not_clear_a_leaf_symptom(golden, kind, expected):
    work = [{"block": "G", "row": "1", "position": "2", "date": "2024-02-01", "kind": kind, "arm": "start"}]
    history = history_of(without(golden.TABLES, work=work))
    assert words(history, 2024)[1] == expected


def test_planned_work_clears_nothing(golden):
    work = [{**golden.WORK[0], "status": "planned"}]
    assert words(history_of(without(golden.TABLES, work=work)), 2026)[2] == "hidden"


def test_counted_from_the_far_end(golden):
    """Position 2 counted from the far end of a row of eight is position 7."""
    surveys = [{**s, "counted_from": "end"} if s["survey"] == "summer 2023" else s for s in golden.SURVEYS]
    history = history_of(without(golden.TABLES, surveys=surveys))
    assert words(history, 2023)[6] == "showing"
    assert words(history, 2023)[1] == "sound"


def test_counting_living_vines_skips_the_gap(golden):
    """The 6th living vine is position 7, for position 6 is empty."""
    surveys = [{**s, "counting": "living_vines"} if s["survey"] == "summer 2023" else s for s in golden.SURVEYS]
    symptoms = [{**golden.SYMPTOMS[0], "position": "6"}]
    history = history_of(without(golden.TABLES, surveys=surveys, symptoms=symptoms))
    assert words(history, 2023)[6] == "showing"


def test_not_seen_takes_a_vine_out_of_the_survey(golden):
    symptoms = [*golden.SYMPTOMS, {**golden.SYMPTOMS[0], "position": "8", "symptom": "not_seen"}]
    history = history_of(without(golden.TABLES, symptoms=symptoms))
    assert words(history, 2023)[7] == "not_seen"
    assert rate(history, "annual", 2023).vines == 6


def test_a_young_block_takes_all_vines(golden):
    block = {**golden.BLOCK, "planted": 2023}
    history = history_of(without(golden.TABLES, blocks=[block]))
    assert any("first three seasons" in season_note_words(note) for note in history.notes)
    replant = without(golden.TABLES, blocks=[block], surveys=[{**s, "covered": "1"} for s in golden.SURVEYS])
    assert words(history_of(replant), 2025)[4] == "sound"


def test_south_of_the_equator(golden):
    """January 2024 belongs to the harvest of 2024 in the south, and is summer there."""
    block = {**golden.BLOCK, "hemisphere": "south"}
    surveys = [
        {**golden.SURVEYS[0], "date": "2024-01-15", "look": ""},
        {**golden.SURVEYS[0], "date": "2023-06-15", "look": ""},
    ]
    symptoms = [{**golden.SYMPTOMS[0], "date": "2024-01-15"}]
    history = history_of({"blocks": [block], "rows": golden.ROWS, "surveys": surveys, "symptoms": symptoms})
    assert history.counted_seasons == (2024,)
    assert words(history, 2024)[1] == "showing"


def test_rows_nobody_wrote_down_do_not_stand_in_the_way(golden):
    """Records of positions that the block has not got are left out here; the checks name them."""
    symptoms = [
        *golden.SYMPTOMS,
        {**golden.SYMPTOMS[0], "position": "99"},
        {**golden.SYMPTOMS[0], "row": "9"},
    ]
    assert pd.Series(words(history_of(without(golden.TABLES, symptoms=symptoms)), 2023)).eq("showing").sum() == 2


@pytest.mark.parametrize("definition", ["any", "leaf", "dieback"])
def test_plain_vines_in_bulk_are_as_one_by_one(definition, monkeypatch):
    """The invented vineyard, read with the short road for plain vines and without it."""
    from pathlib import Path

    from trunkwatch.block import load
    from trunkwatch.history.vine import Vine

    sample = Path(__file__).parents[2] / "sample_blocks"
    for block in ("Mill", "Hollow"):
        season = load(sample, block)
        short = build_history(season.reading, definition)
        monkeypatch.setattr(Vine, "is_plain", property(lambda _: False))
        long = build_history(season.reading, definition)
        monkeypatch.undo()
        for name in ("condition", "case", "had_case", "ever_case", "lost_track", "died", "relapse_risk", "relapse"):
            assert np.array_equal(getattr(short, name), getattr(long, name)), (block, name)
