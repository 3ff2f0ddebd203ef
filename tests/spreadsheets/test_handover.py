"""trunkwatch.spreadsheets.handover: what a phone hands over, damaged and foreign files too."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.handover import MOST_BYTES, handover_frames, read_handover
from trunkwatch.store import Store

FINDING = {"id": "a1", "block": "B", "row": "3", "position": "12", "date": "2026-08-03", "symptom": "leaf_stripe", "arm": "", "recorded_at": "2026-08-03T09:12:00.000Z", "longitude": 11.5, "accuracy_m": 3.5}  # fmt: skip
SURVEY = {
    "id": "s1",
    "survey": "summer 2026",
    "block": "B",
    "date": "2026-08-03",
    "look": "summer",
    "covered": "3:1..40",
    "minutes": 7,
}
WHOLE = {"trunkwatch_handover": 1, "vineyard": "v", "surveys": [SURVEY], "symptoms": [FINDING]}


def test_records_are_read_like_cells_of_a_spreadsheet():
    frames, faults = handover_frames(WHOLE, "p.json")
    assert faults == []
    one = frames["symptoms"].iloc[0]
    assert (one["id"], one["row"], one["position"], one["longitude"], one["read_from"]) == (
        "a1",
        "3",
        "12",
        11.5,
        "p.json symptoms:1",
    )
    assert frames["surveys"].iloc[0]["minutes"] == 7


@pytest.mark.parametrize(
    ("change", "column"),
    [({"symptom": "blight"}, "symptom"), ({"date": "yesterday"}, "date"), ({"percent": "lots"}, "percent"), ({"id": ""}, "id"),
     ({"weight": 3}, "weight"), ({"note": {"a": 1}}, "note"), ({"percent": 400}, "percent")],
)  # fmt: skip
def test_a_faulty_record_is_named_and_left_out(change, column):
    frames, faults = handover_frames({**WHOLE, "symptoms": [FINDING, {**FINDING, "id": "a2", **change}]}, "p.json")
    assert {fault.column for fault in faults} == {column}
    assert {fault.line for fault in faults} == {2}
    assert frames["symptoms"]["id"].tolist() == ["a1"]


@pytest.mark.parametrize(
    "told",
    [
        [],
        {"a": 1},
        "x",
        {"trunkwatch_handover": 5},
        {"trunkwatch_handover": True},
        {"trunkwatch_handover": [1]},
        {"trunkwatch_handover": 1, "symptoms": "all"},
    ],
)
def test_something_else_is_refused_in_one_line(told):
    with pytest.raises(FileError) as error:
        handover_frames(told, "p.json")
    assert "\n" not in str(error.value)


def test_damaged_and_huge_files(tmp_path):
    path = tmp_path / "p.json"
    path.write_text(json.dumps(WHOLE)[:-30])
    with pytest.raises(FileError, match="send again"):
        read_handover(path)
    path.write_bytes(b"\xff\xfe{")
    with pytest.raises(FileError, match="damaged"):
        read_handover(path)
    path.write_text("[" * 200_000)
    with pytest.raises(FileError, match="damaged"):
        read_handover(path)
    with path.open("wb") as file:
        file.truncate(MOST_BYTES + 1)
    with pytest.raises(FileError, match="20 MB"):
        read_handover(path)


def test_a_void_after_the_hand_over_takes_the_record_away(tmp_path):
    from trunkwatch.intake.bring import bring_files
    from trunkwatch.vineyard.tables import frame_of

    path = tmp_path / "v.gpkg"
    Store.create(path)
    with Store.writing(path) as store:
        store.append(
            {
                "blocks": frame_of("blocks", [{"block": "B"}]),
                "rows": frame_of("rows", [{"block": "B", "row": "3", "last": 40}]),
            }
        )
    file = tmp_path / "p.json"
    file.write_text(json.dumps(WHOLE))
    bring_files(path, file)
    file.write_text(
        json.dumps({**WHOLE, "symptoms": [FINDING, {**FINDING, "id": "a9", "corrects": "a1", "void": "yes"}]})
    )
    added, _ = bring_files(path, file)
    assert (added.new["symptoms"], added.same["symptoms"]) == (1, 1)
    with Store.open(path) as store:
        assert store.frame("symptoms").empty
        assert len(store.frame("symptoms", all_versions=True)) == 2


@settings(max_examples=50, deadline=None)
@given(st.data())
def test_phones_in_any_order_with_loss_and_repetition_give_the_same_store(data):
    """Three phones hand over growing streams, some twice, some lost on the way, in any order; the last of each arrives."""
    streams = {
        phone: [
            {**FINDING, "id": f"{phone}{n}", "position": str(1 + (7 * n + ord(phone)) % 40), "observer": phone}
            for n in range(size)
        ]
        for phone, size in zip("abc", data.draw(st.tuples(*[st.integers(0, 6)] * 3)), strict=True)
    }
    sent = [
        (phone, cut)
        for phone, records in streams.items()
        for cut in [*data.draw(st.lists(st.integers(0, len(records)), max_size=4)), len(records)]
    ]
    stores = []
    for order in (sent, data.draw(st.permutations(sent))):
        store = Store.in_memory()
        for phone, cut in order:
            frames, faults = handover_frames(
                {"trunkwatch_handover": 1, "surveys": [], "symptoms": streams[phone][:cut]}, f"{phone}.json"
            )
            assert faults == []
            store.append(frames)
        frame = (
            store.frame("symptoms", all_versions=True).drop(columns=["read_from"]).sort_values("id", ignore_index=True)
        )
        stores.append(frame)
        store.close()
    assert stores[0].equals(stores[1])
    assert len(stores[0]) == sum(len(records) for records in streams.values())
