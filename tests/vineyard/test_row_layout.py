"""trunkwatch.vineyard.row_layout: how stations are counted; whole layouts are in tests/test_grid.py."""

import math

from trunkwatch.vineyard.row_layout import runs_other_way, whole


def test_halves_are_rounded_up_and_float_noise_is_none():
    assert [whole(value) for value in (0.5, 1.5, 2.5, -0.5, 2.4999999999, 2.49)] == [1, 2, 3, 0, 3, 2]


def test_serpentine_turns_every_other_row_and_a_row_taken_out_turns_no_other():
    by_label = [{"row": label, "row_order": math.nan} for label in "123"]
    by_order = [{"row": label, "row_order": float(label)} for label in "135"]
    assert runs_other_way(by_label, "serpentine") == [False, True, False]
    assert runs_other_way(by_order, "serpentine") == [False, False, False]
    # What a row itself says goes before: row 2 from the base line, row 3 from the far end.
    own = [{**record, "numbered_from": end} for record, end in zip(by_label, ("", "start", "end"), strict=True)]
    assert runs_other_way(own, "serpentine") == [False, False, True]
    assert runs_other_way(own, "same_end") == [False, False, True]
    no_code = [{**record, "numbered_from": "far"} for record in by_label]
    assert runs_other_way(no_code, "serpentine") == [False, True, False]
    assert runs_other_way(by_label, "same_end") == runs_other_way(by_label, "") == [False] * 3
