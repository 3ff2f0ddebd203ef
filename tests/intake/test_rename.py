"""trunkwatch.intake: rename, start; trunkwatch.spreadsheets: own_vineyard; in both forms, folder and file."""

import csv

import openpyxl
import pytest

from trunkwatch.block import load
from trunkwatch.block.opening import open_vineyard, records_of_block
from trunkwatch.errors import FaultyNotesError, FileError, RecordError, UnknownBlockError
from trunkwatch.intake import add_frames, check_vineyard, correct_record, start_file, start_folder
from trunkwatch.intake.bring import bring_files
from trunkwatch.intake.rename import bring_back, rename_block, rename_vineyard, take_back
from trunkwatch.spreadsheets.folder import read_folder
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES, frame_of

BLOCK = {"row_spacing_m": 2.5, "vine_spacing_m": 1.5, "planted": 2008}
FINDING = {"row": "1", "position": "2", "date": "2025-08-01", "symptom": "leaf_stripe"}
SURVEY = {"date": "2025-08-01", "look": "summer", "covered": "1..2"}


@pytest.fixture(params=["hill", "hill.gpkg"])
def path(request, tmp_path):
    return tmp_path / request.param


def start(path, label, rows=2, **block):
    begin = start_file if path.suffix else start_folder
    begin(path, {"block": label, **BLOCK, **block}, rows, 5)


def log(path, label, **more):
    add_frames(
        path,
        {
            "surveys": frame_of("surveys", [{"block": label, **SURVEY}]),
            "symptoms": frame_of("symptoms", [{"block": label, **FINDING, **more}]),
        },
    )


def names(path):
    with open_vineyard(path) as store:
        return store.blocks()


def found(path, block):
    with open_vineyard(path) as store:
        return store.frame("symptoms", block)


def lines(path):
    with path.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def no_fault(path):
    return not [fault for fault in check_vineyard(path, today="2026-12-31") if fault.weight == "fault"]


def test_a_new_vineyard_is_named_after_its_folder_or_file(path):
    start(path, "North")
    start(path, "South")
    with open_vineyard(path) as store:
        assert store.frame("blocks")["vineyard"].tolist() == ["hill", "hill"]
    with pytest.raises((FileError, RecordError), match="has a block 'North' already"):
        start(path, "North")
    start(path, "North", vineyard="Dale Farm")
    assert names(path) == ("hill/North", "South", "Dale Farm/North")
    with pytest.raises(RecordError, match="--vineyard says which the block is of: 'hill', 'Dale Farm'"):
        start(path, "West")
    assert no_fault(path)


def test_records_stay_with_a_block_that_is_renamed(path):
    start(path, "North")
    log(path, "North")
    assert rename_block(path, "North", label="Top") == "Top"
    log(path, "Top", position="3")
    log(path, "North", position="4")
    assert found(path, "Top")["position"].tolist() == ["2", "3", "4"]
    assert set(found(path, "North")["block"]) == {"Top"}
    assert names(path) == ("Top",)
    season = load(path, "Top")
    assert season.history.block == season.reading.records.name == season.history.grid.block == "Top"
    assert season.cases.sum() == 3
    log(path, "Top")  # the line from before the rename, under the new name
    assert len(found(path, "Top")) == 3
    assert no_fault(path)


def test_a_block_may_be_called_as_before_again(path):
    start(path, "North")
    for label in ("Top", "North", "Top", "Hill", "North"):
        assert rename_block(path, names(path)[0], label=label) == label
    with pytest.raises(RecordError, match="'North' is named so already"):
        rename_block(path, "North", label="North")


def test_no_block_takes_a_name_that_another_has_or_had(path):
    start(path, "North")
    start(path, "South")
    rename_block(path, "North", label="Top")
    for taken in ("North", "Top"):
        with pytest.raises(FaultyNotesError, match="Top has, or had, that name"):
            rename_block(path, "South", label=taken)
    with pytest.raises((FileError, RecordError), match="it is called Top now; choose another label"):
        start(path, "North")
    assert names(path) == ("Top", "South")


def test_a_vineyard_is_renamed_with_its_weather_and_prices(path):
    start(path, "North")
    start(path, "East", vineyard="Dale Farm")
    days = [
        {"date": "2025-01-02", "t_min_c": -9.0, "vineyard": "hill"},
        {"date": "2025-01-02", "t_min_c": -4.0, "vineyard": "Dale Farm"},
    ]
    prices = [
        {"name": "grape_price", "value": 900.0, "vineyard": "hill"},
        {"name": "grape_price", "value": 700.0, "vineyard": "Dale Farm"},
    ]
    add_frames(path, {"weather": frame_of("weather", days), "costs": frame_of("costs", prices)})
    assert rename_vineyard(path, "hill", "High Farm") == ("North",)
    with open_vineyard(path) as store:
        assert store.frame("weather", "North")["t_min_c"].tolist() == [-9.0]
        assert store.frame("weather", "East")["t_min_c"].tolist() == [-4.0]
        assert store.frame("costs", "North")["value"].tolist() == [900.0]
        assert store.frame("costs", "North")["vineyard"].tolist() == ["High Farm"]
        assert store.frame("costs", "East")["value"].tolist() == [700.0]
    again = add_frames(path, {"weather": frame_of("weather", [{**days[0], "vineyard": "High Farm"}])})
    assert (again.new["weather"], again.same["weather"], again.changed) == (0, 1, ())
    with pytest.raises(RecordError, match="no vineyard 'hill'; the vineyards are: 'High Farm', 'Dale Farm'"):
        rename_vineyard(path, "hill", "X")
    with pytest.raises(RecordError, match="there is a vineyard 'Dale Farm' already; --block B --to-vineyard"):
        rename_vineyard(path, "High Farm", "Dale Farm")


def test_weather_of_a_strange_vineyard_is_a_fault(path):
    start(path, "North")
    with pytest.raises(FaultyNotesError, match="no block is of this vineyard"):
        add_frames(path, {"weather": frame_of("weather", [{"date": "2025-01-02", "t_min_c": -9.0, "vineyard": "Hil"}])})


def test_a_block_moves_to_another_vineyard(path):
    start(path, "North")
    start(path, "South")
    log(path, "North")
    start(path, "North", vineyard="Dale Farm", rows=1)
    assert rename_block(path, "hill/North", label="Low", vineyard="Dale Farm") == "Low"
    assert len(found(path, "Low")) == 1
    assert names(path) == ("Low", "South", "Dale Farm/North")
    assert no_fault(path)


def test_a_vineyard_without_a_name_is_named(path):
    start(path, "North", vineyard="")
    start(path, "South")
    log(path, "North")
    log(path, "North", note="again", position="3")
    with open_vineyard(path) as store:
        wrong = store.frame("symptoms").iloc[1].to_dict()
    add_frames(
        path,
        {
            "symptoms": frame_of(
                "symptoms",
                [
                    {
                        **wrong,
                        "corrects": wrong["id"],
                        "id": "",
                        "read_from": "",
                        "position": "4",
                        "recorded_at": "2025-08-02",
                    }
                ],
            )
        },
    )
    add_frames(path, {"weather": frame_of("weather", [{"date": "2025-01-02", "t_min_c": -9.0}])})
    assert rename_vineyard(path, "", "High Farm") == ("North", "South")
    with open_vineyard(path) as store:
        for table in TABLES:
            assert set(store.frame(table)["vineyard"]) <= {"High Farm"}, table
        assert store.frame("symptoms", "North")["position"].tolist() == ["2", "4"]
        assert len(store.frame("rows", "South")) == 2
        assert len(store.frame("weather", "South")) == 1
    log(path, "North")
    assert len(found(path, "North")) == 2
    assert no_fault(path)


def test_a_block_without_a_record_is_taken_back_and_brought_back(path):
    start(path, "North")
    start(path, "Nroth")
    take_back(path, "Nroth")
    assert names(path) == ("North",)
    assert no_fault(path)
    with pytest.raises(UnknownBlockError, match="no block 'Nroth'; the blocks are: North"):
        take_back(path, "Nroth")
    with pytest.raises(RecordError, match="had a block 'Nroth' that was taken back"):
        start(path, "Nroth")
    bring_back(path, "Nroth")
    assert names(path) == ("North", "Nroth")
    with open_vineyard(path) as store:
        assert len(store.frame("rows", "Nroth")) == 2
    with pytest.raises(UnknownBlockError, match="no block 'North' was taken back; taken back: none"):
        bring_back(path, "North")


def test_what_stands_of_a_block_is_taken_back_on_request_only(path):
    start(path, "North")
    start(path, "South")
    for label in ("North", "South"):
        log(path, label)
    with open_vineyard(path) as store:
        before = {table: set(store.stored(table)["id"]) for table in TABLES}
    with pytest.raises(RecordError, match="block 'North' has 1 finding, 1 survey on record: --with-records"):
        take_back(path, "North")
    take_back(path, "North", with_records=True)
    assert names(path) == ("South",)
    with open_vineyard(path) as store:
        assert store.frame("symptoms")["block"].tolist() == ["South"]
        assert all(before[table] <= set(store.stored(table)["id"]) for table in TABLES)
    assert no_fault(path)
    bring_back(path, "North")
    assert len(found(path, "North")) == 1
    assert names(path) == ("North", "South")
    assert no_fault(path)


def test_taken_back_twice_and_brought_back_twice(path):
    start(path, "North")
    start(path, "South")
    log(path, "North")
    for _ in range(2):
        take_back(path, "North", with_records=True)
        assert names(path) == ("South",)
        bring_back(path, "North")
        assert len(found(path, "North")) == 1


def test_what_was_taken_back_by_itself_before_stays_so_when_the_block_is_brought_back(path):
    start(path, "North")
    start(path, "South")
    log(path, "North")
    log(path, "North", position="3")
    gone = found(path, "North")
    correct_record(path, "symptoms", gone[gone["position"] == "3"]["id"].iloc[0], {}, void=True)
    take_back(path, "North", with_records=True)
    bring_back(path, "North")
    assert found(path, "North")["position"].tolist() == ["2"]


def test_an_old_copy_of_notes_brings_nothing_back(path, tmp_path):
    start(path, "North")
    start(path, "South")
    log(path, "North")
    old = tmp_path / "old"
    with open_vineyard(path) as store:
        from trunkwatch.spreadsheets.write import write_folder

        write_folder(old, {table: store.frame(table, all_versions=True) for table in TABLES})
    take_back(path, "North", with_records=True)
    added, _ = bring_files(path, old)
    assert not sum(added.new.values())
    assert names(path) == ("South",)


def test_lines_of_a_folder_keep_their_vineyard_when_another_comes(tmp_path):
    hers, his = tmp_path / "hers", tmp_path / "his"
    for folder, rows in ((hers, 2), (his, 3)):
        start(folder, "North", rows=rows)
        log(folder, "North")
        add_frames(folder, {"costs": frame_of("costs", [{"name": "grape_price", "value": 100.0 * rows}])})
    assert "vineyard" not in lines(hers / "symptoms.csv")[0]
    bring_files(hers, his)
    assert [line["vineyard"] for line in lines(hers / "symptoms.csv")] == ["hers", "his"]
    assert [line["vineyard"] for line in lines(hers / "costs.csv")] == ["hers", "his"]
    assert names(hers) == ("hers/North", "his/North")
    assert (len(found(hers, "hers/North")), len(found(hers, "his/North"))) == (1, 1)
    assert no_fault(hers)
    added, _ = bring_files(hers, his)
    assert not sum(added.new.values())


def test_a_second_vineyard_makes_the_column_needed_even_where_labels_differ(tmp_path):
    start(tmp_path / "hers", "North")
    add_frames(tmp_path / "hers", {"weather": frame_of("weather", [{"date": "2025-01-02", "t_min_c": -9.0}])})
    log(tmp_path / "hers", "North")
    start(tmp_path / "hers", "East", vineyard="Dale Farm")
    assert [line["vineyard"] for line in lines(tmp_path / "hers" / "weather.csv")] == ["hers"]
    assert "vineyard" not in lines(tmp_path / "hers" / "symptoms.csv")[0]
    with open_vineyard(tmp_path / "hers") as store:
        assert len(store.frame("weather", "North")) == 1
        assert store.frame("weather", "East").empty


def test_a_workbook_is_not_written_to(tmp_path):
    folder = tmp_path / "hers"
    start(folder, "North")
    log(folder, "North")
    book = openpyxl.Workbook()
    page = book.active
    page.title = "symptoms"
    page.append(["block", "row", "position", "date", "symptom"])
    page.append(["North", "2", "3", "2025-08-01", "leaf_stripe"])
    book.save(folder / "symptoms-2.xlsx")
    before = {one.name: one.read_bytes() for one in folder.iterdir()}
    with pytest.raises(
        FileError, match=r"symptoms-2.xlsx: write the column vineyard into the sheet symptoms first \(hers\)"
    ):
        start(folder, "North", vineyard="Dale Farm")
    assert {one.name: one.read_bytes() for one in folder.iterdir() if one.name in before} == before


def test_notes_of_two_vineyards_without_the_column_are_faults_with_their_lines(tmp_path):
    folder = tmp_path / "v"
    folder.mkdir()
    (folder / "blocks.csv").write_text(
        "block,vineyard,row_spacing_m,vine_spacing_m\nNorth,Hill Farm,2,1\nNorth,Dale Farm,2,1\n", "utf-8"
    )
    (folder / "rows.csv").write_text("block,vineyard,row,last\nNorth,Hill Farm,1,4\nNorth,Dale Farm,1,5\n", "utf-8")
    (folder / "symptoms.csv").write_text("block,row,position,date,symptom\nNorth,1,2,2025-08-01,leaf_stripe\n", "utf-8")
    (fault,) = read_folder(folder).stopping
    assert str(fault).startswith(
        "symptoms.csv, line 2, column vineyard: two vineyards have a block North: write the column vineyard"
    )
    assert str(fault) in [str(one) for one in check_vineyard(folder)]
    with pytest.raises(FaultyNotesError, match="Hill Farm or Dale Farm"):
        bring_files(tmp_path / "v.gpkg", folder)


def test_two_growers_through_an_export(tmp_path):
    for name in ("hers", "his"):
        start(tmp_path / f"{name}.gpkg", "North", rows=3 if name == "his" else 2)
        log(tmp_path / f"{name}.gpkg", "North")
    bring_files(tmp_path / "hers.gpkg", tmp_path / "his.gpkg")
    rename_block(tmp_path / "hers.gpkg", "his/North", label="Low")
    from trunkwatch.spreadsheets.own_vineyard import frames_to_write
    from trunkwatch.spreadsheets.write import write_folder, write_xlsx

    with Store.open(tmp_path / "hers.gpkg") as store:
        frames = frames_to_write({table: store.frame(table, all_versions=True) for table in TABLES}, store.names())
        kept = {table: store.stored(table) for table in TABLES}
    write_folder(tmp_path / "out", frames)
    write_xlsx(tmp_path / "out.xlsx", frames)
    assert [(line["vineyard"], line["block"]) for line in lines(tmp_path / "out" / "symptoms.csv")] == [
        ("hers", "North"),
        ("his", "Low"),
    ]
    for number, source in enumerate((tmp_path / "out", tmp_path / "out.xlsx")):
        again = tmp_path / f"again{number}.gpkg"
        bring_files(again, source)
        with Store.open(again) as store:
            for table in TABLES:
                columns = [name for name in TABLES[table].names if name != "read_from"]
                assert store.stored(table)[columns].equals(kept[table][columns]), (source, table)
            assert store.blocks() == ("hers/North", "Low")


def test_records_of_a_block_carry_its_outside_name(tmp_path):
    start(tmp_path / "hers.gpkg", "North")
    start(tmp_path / "hers.gpkg", "North", vineyard="Dale Farm", rows=3)
    with Store.open(tmp_path / "hers.gpkg") as store:
        records = records_of_block(store, "Dale Farm/North")
        assert records.name == "Dale Farm/North"
        assert set(records.rows["block"]) == {"Dale Farm/North"}
        assert len(records.rows) == 3
        with pytest.raises(
            UnknownBlockError, match="two blocks are named 'North': --block takes one of: hers/North, Dale Farm/North"
        ):
            records_of_block(store, "North")
        with pytest.raises(UnknownBlockError, match="which block"):
            records_of_block(store, None)
