"""trunkwatch.intake: handed_over, bring; hand-overs of other vineyards and blocks, signed ones, and ones that are not."""

import json

import pytest

from trunkwatch.access.phones import pair_phone, stop_phone
from trunkwatch.access.signature import literal_json, signature, signed_bytes
from trunkwatch.block import open_vineyard
from trunkwatch.errors import FileError, HandoverError
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.handed_over import block_mark, read_sealed
from trunkwatch.intake.rename import rename_block, rename_vineyard, take_back
from trunkwatch.intake.start import start_file, start_folder
from trunkwatch.sheets.field_page import field_data
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import to_walk

BLOCK = {"block": "North", "planted": 2010, "row_spacing_m": 2.5, "vine_spacing_m": 1.5, "hemisphere": "north", "training": "bilateral"}  # fmt: skip
FINDING = {"row": "1", "position": "2", "date": "2026-08-05", "symptom": "leaf_stripe", "observer": "Ana", "device": "abc", "longitude": 11.5}  # fmt: skip


def page_of(vineyard, block="North"):
    """Return what the phone page of a block knows of its block."""
    with open_vineyard(vineyard) as store:
        walk = to_walk(store, block, 2026)
        return field_data(walk, identity="v", look="summer", language="en", mark=block_mark(store, block))


def handover(page, number=1, **more):
    """Return what a phone hands over, as `walk.js` makes it."""
    record = {"id": f"p{number}", "block": page["block"], "vineyard": page["vineyard_name"], **FINDING, **more}
    bound = {name: page[name] for name in ("vineyard_name", "block_root", "block_began")}
    return {
        "trunkwatch_handover": 2,
        "vineyard": page["vineyard"],
        "block": page["block"],
        **bound,
        "season": 2026,
        "device": "abc",
        "written": "2026-08-05T12:00:00Z",
        "surveys": [],
        "symptoms": [record],
        "work": [],
    }


def signed(told, phone):
    told = {**told, "phone": phone.id}
    return {**told, "signature": signature(phone.secret, signed_bytes(literal_json(json.dumps(told))))}


def brought(vineyard, told, **more):
    path = vineyard.parent / "phone.json"
    path.write_text(json.dumps(told))
    return bring_files(vineyard, path, **more)[0].new.get("symptoms", 0)


@pytest.fixture
def vines(tmp_path):
    start_file(tmp_path / "v.gpkg", BLOCK, 2, 6)
    return tmp_path / "v.gpkg"


def other_vines(tmp_path, name="v.gpkg", **more):
    (tmp_path / "other").mkdir()
    start_file(tmp_path / "other" / name, {**BLOCK, **more}, 2, 6)
    return tmp_path / "other" / name


def symptoms(path):
    with Store.open(path) as store:
        return store.frame("symptoms", all_versions=True)


@pytest.mark.long
@pytest.mark.parametrize("name", ["v.gpkg", "w.gpkg"])
def test_a_hand_over_of_another_vineyard_is_refused_though_block_and_name_fit(vines, tmp_path, name):
    other = other_vines(tmp_path, name)
    before = vines.read_bytes()
    for unsigned in (False, True):
        with pytest.raises(
            HandoverError, match=r"is of another vineyard: its block .*North.*Load it into the vineyard"
        ):
            brought(vines, handover(page_of(other)), unsigned=unsigned)
    assert vines.read_bytes() == before
    assert brought(other, handover(page_of(other))) == 1
    assert brought(vines, handover(page_of(vines))) == 1


def test_folders_are_bound_too(tmp_path):
    for name in ("one", "two"):
        start_folder(tmp_path / name / "vines", BLOCK, 2, 6)
    one, two = tmp_path / "one" / "vines", tmp_path / "two" / "vines"
    with pytest.raises(HandoverError, match="was started on"):
        brought(two, handover(page_of(one)))
    assert brought(one, handover(page_of(one))) == 1


@pytest.mark.long
def test_a_copy_and_a_folder_of_the_same_vineyard_take_it(vines, tmp_path):
    from trunkwatch.spreadsheets.write import write_folder

    told = handover(page_of(vines))
    copy = tmp_path / "mailed.gpkg"
    copy.write_bytes(vines.read_bytes())
    assert brought(copy, told) == 1
    with Store.open(vines) as store:
        write_folder(tmp_path / "folder", {table: store.frame(table) for table in ("blocks", "rows")})
    assert brought(tmp_path / "folder", told) == 1
    bring_files(tmp_path / "all.gpkg", vines)
    assert brought(tmp_path / "all.gpkg", told) == 1


@pytest.mark.long
def test_a_block_is_followed_through_its_names_and_its_own_records_only(vines):
    page = page_of(vines)
    start_file(vines, {**BLOCK, "block": "South"}, 2, 6)
    with pytest.raises(HandoverError, match="a record in its symptoms is of block 'v/South'"):
        brought(vines, handover(page, block="South"))
    rename_block(vines, "North", label="Hill")
    assert brought(vines, handover(page)) == 1
    with Store.open(vines) as store:
        assert len(store.frame("symptoms", "Hill")) == 1
    assert brought(vines, handover(page_of(vines, "Hill"), 2)) == 1
    take_back(vines, "Hill", with_records=True)
    with pytest.raises(HandoverError, match="was taken back here"):
        brought(vines, handover(page, 3))


def test_a_vineyard_that_got_its_name_since_takes_what_was_written_before(tmp_path):
    start_file(tmp_path / "v.gpkg", {**BLOCK, "vineyard": ""}, 2, 6)
    start_file(tmp_path / "w.gpkg", {**BLOCK, "vineyard": ""}, 2, 6)
    told, other = (handover(page_of(tmp_path / name)) for name in ("v.gpkg", "w.gpkg"))
    assert told["block_root"] == other["block_root"]  # one label, no names: when they were started tells them apart
    rename_vineyard(tmp_path / "v.gpkg", "", "Hill Farm")
    with pytest.raises(HandoverError, match="another vineyard"):
        brought(tmp_path / "v.gpkg", other)
    assert brought(tmp_path / "v.gpkg", told) == 1
    with Store.open(tmp_path / "v.gpkg") as store:
        assert store.frame("symptoms", "North")["vineyard"].tolist() == ["Hill Farm"]


def test_a_signed_hand_over_carries_the_phone_whatever_it_says_itself(vines):
    phone, _ = pair_phone(vines, person="Ana")
    told = handover(page_of(vines))
    assert brought(vines, signed(told, phone)) == 1
    assert symptoms(vines)["device"].tolist() == ["Ana, phone 1"]


@pytest.mark.long
def test_a_wrong_signature_is_refused_in_words(vines):
    phone, _ = pair_phone(vines, person="Ana")
    good = signed(handover(page_of(vines)), phone)
    forged = [
        {**good, "symptoms": [{**good["symptoms"][0], "position": "3"}]},
        {**good, "symptoms": [{**good["symptoms"][0], "longitude": 11.50001}]},
        {**good, "block": "South"},
        {**good, "season": "2026"},
        {**good, "more": None},
        {name: value for name, value in good.items() if name != "work"},
        {**good, "signature": "0" * 64},
        {**good, "signature": ""},
        {**good, "signature": "\u00e9"},
        {**good, "signature": good["signature"].upper()},
    ]
    before = vines.read_bytes()
    for told in forged:
        for unsigned in (False, True):
            with pytest.raises(HandoverError, match="'Ana, phone 1', and its signature is wrong"):
                brought(vines, told, unsigned=unsigned)
    assert vines.read_bytes() == before
    assert brought(vines, dict(reversed(good.items()))) == 1  # the order of keys is nobody's word


def test_a_stopped_phone_is_refused_in_words(vines):
    phone, _ = pair_phone(vines)
    good = signed(handover(page_of(vines)), phone)
    stop_phone(vines, "phone 1")
    for unsigned in (False, True):
        with pytest.raises(HandoverError, match=r"'phone 1', which was stopped on 20.*Pair the phone anew"):
            brought(vines, good, unsigned=unsigned)
    with pytest.raises(HandoverError, match="is not signed, and phones are paired here"):
        brought(vines, handover(page_of(vines)))  # once paired, always asked for


@pytest.mark.long
def test_an_unsigned_one_is_taken_on_request_and_freely_where_no_phone_was_paired(vines, tmp_path):
    page = page_of(vines)
    assert brought(vines, handover(page)) == 1
    pair_phone(vines)
    with pytest.raises(HandoverError, match="load --unsigned"):
        brought(vines, handover(page, 2))
    assert brought(vines, handover(page, 2), unsigned=True) == 1
    stranger, _ = pair_phone(other_vines(tmp_path))
    with pytest.raises(HandoverError, match=r"was never paired with v\.gpkg"):
        brought(vines, signed(handover(page, 3), stranger))
    assert brought(vines, signed(handover(page, 3), stranger), unsigned=True) == 1
    with pytest.raises(HandoverError, match="another vineyard"):
        brought(vines, handover(page_of(tmp_path / "other" / "v.gpkg"), 4), unsigned=True)


@pytest.mark.long
def test_hand_overs_of_the_first_version_are_unsigned_ones(vines):
    record = {"id": "old", "block": "North", "vineyard": "v", **FINDING}
    told = {"trunkwatch_handover": 1, "vineyard": "x", "block": "North", "surveys": [], "symptoms": [record]}
    assert brought(vines, told) == 1
    phone, _ = pair_phone(vines)
    again = {**told, "symptoms": [{**record, "id": "old2", "position": "4"}]}
    with pytest.raises(HandoverError, match="not signed"):
        brought(vines, again)
    assert brought(vines, again, unsigned=True) == 1
    assert brought(vines, signed({**told, "symptoms": [{**record, "id": "old3", "position": "5"}]}, phone)) == 1


@pytest.mark.long
def test_what_is_no_hand_over_says_so(vines):
    page = page_of(vines)
    for change in (
        {"block_root": ""},
        {"block_root": 3},
        {"block_began": []},
        {"phone": {}},
        {"signature": 1},
        {"block": None},
    ):
        with pytest.raises(FileError, match="is damaged"):
            brought(vines, {**handover(page), **change})
    (vines.parent / "deep.json").write_text('{"trunkwatch_handover": 2, "x": ' + "[" * 900 + "]" * 900 + "}")
    with pytest.raises(FileError, match="is damaged"):
        read_sealed(vines.parent / "deep.json")


def test_the_command_line_says_it_too(vines, tmp_path):
    from click.testing import CliRunner

    from trunkwatch.cli import main

    pair_phone(vines)
    path = tmp_path / "p.json"
    path.write_text(json.dumps(handover(page_of(vines))))
    done = CliRunner().invoke(main, ["load", str(vines), str(path)])
    assert done.exit_code == 1
    assert "is not signed, and phones are paired here" in done.output
    done = CliRunner().invoke(main, ["load", "--unsigned", str(vines), str(path)])
    assert (done.exit_code, "symptoms: 1 added" in done.output) == (0, True)
