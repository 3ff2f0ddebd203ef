"""trunkwatch.spreadsheets: meanings, what every word of a status column means, and what has no meaning."""

import pytest

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, Condition, build_history, read_block
from trunkwatch.spreadsheets.located import located
from trunkwatch.spreadsheets.mapping import ColumnMap, map_sheet
from trunkwatch.spreadsheets.meanings import read_rule, status_words
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.tables import empty_frame, records_of

DAY = "2026-08-01"


def sheet(*statuses, day=DAY):
    lines = [(n + 2, ["1", str(n + 1), status, day]) for n, status in enumerate(statuses)]
    return Worksheet("plants.csv", "plants", ["Row", "Vine", "Sick", "Day"], lines)


def told(**rules):
    return ColumnMap(row="Row", position="Vine", status="Sick", date="Day", hemisphere="north", **rules)


def meanings(*statuses, **rules):
    columns = told(**rules)
    plants, faults = located(sheet(*statuses), columns, {}, [])
    assert not faults
    return {word.word: word.meaning for word in status_words(plants, columns, "plants.csv")}


@pytest.mark.parametrize(
    ("rule", "yes", "no"),
    [
        ("1", "1.0", "0"),
        (">0", "3", "0"),
        (">=2", "2", "1"),
        ("!=healthy", "sick", "Healthy"),
        ("!=healthy", "sick", "#N/A"),
        ("Y", "y", "N"),
        ("=>5", ">5", "5"),
        ("１", "1", "0"),
    ],
)
def test_status_rules(rule, yes, no):
    assert read_rule(rule).claims(yes)
    assert not read_rule(rule).claims(no)


@pytest.mark.parametrize(("rule", "message"), [(">many", "no number"), (" ", "is no rule")])
def test_a_rule_that_cannot_be_read(rule, message):
    with pytest.raises(RecordError, match=message):
        read_rule(rule)


@pytest.mark.parametrize("word", ["gone", "?", "not looked", "n/a", "2", "Y", "N", "#N/A", "0 0", "-", "5%"])
def test_a_word_without_a_meaning_is_never_healthy(word):
    with pytest.raises(RecordError) as caught:
        map_sheet(sheet("1", "0", word, word), told())
    message = str(caught.value)
    assert f"{word!r} (2 lines, first in line 4)" in message
    assert "--sound-when" in message
    assert "--unseen-when" in message
    assert "'1'" not in message
    assert "'0' (" not in message


def test_all_words_without_a_meaning_stand_in_one_message_with_their_options():
    with pytest.raises(RecordError) as caught:
        map_sheet(sheet("1", "gone", "?", "Gone", "replanted", "#N/A"), told())
    message = str(caught.value)
    assert "4 words of column Sick" in message
    assert "'gone' (2 lines, first in line 3): --missing-when gone perhaps" in message
    assert "--unseen-when '?' perhaps" in message
    assert "--replanted-when replanted perhaps" in message
    assert "'#N/A' (1 line, first in line 7): a formula that went wrong" in message


@pytest.mark.parametrize(
    ("words", "rules", "sound"),
    [
        (("1", "0", "", " ", "\u00a0", "\u200b"), {}, {"0"}),
        (("1.0", "0.0"), {}, {"0.0"}),
        (("0", "0"), {}, {"0"}),
        (("１", "０"), {}, {"0"}),
        (("Y", "n"), {"case_when": ("y",)}, {"n"}),
        (("TRUE", "False"), {"case_when": ("true",)}, {"False"}),
        (("No", "Yes"), {"case_when": ("no",)}, {"Yes"}),
        (("sick", "Healthy", "OK", "sound"), {"case_when": ("sick",)}, {"Healthy", "OK", "sound"}),
        (("3", "0", "1,5"), {"case_when": (">1,5",)}, {"0", "1,5"}),
        (("3", "0"), {"case_when": ("!=0",)}, {"0"}),
    ],
)
def test_only_what_is_beyond_doubt_is_sound_by_itself(words, rules, sound):
    read = meanings(*words, **rules)
    assert {word for word, meaning in read.items() if meaning == "sound"} == sound
    assert all(meaning in ("case", "sound") for meaning in read.values())
    mapped = map_sheet(sheet(*words), told(**rules))
    (line,) = [line for line in mapped.account if "understood without a rule" in line]
    assert all(f"{word} ({2 if words == ('0', '0') else 1})" in line for word in sound)


@pytest.mark.parametrize(
    ("words", "rules", "unknown"),
    [
        (("1", "0"), {"sound_when": ("2",)}, {"0"}),
        (("0", "1"), {"case_when": ("0",)}, {"1"}),
        (("3", "-9", "0"), {"case_when": (">0",)}, {"-9"}),
        (("3", "0", "n/a"), {"case_when": (">0",)}, {"n/a"}),
        (("3", "1", "0"), {"case_when": (">1",), "sound_when": ("0",)}, {"1"}),
        (("2", "1", "0"), {"case_when": ("2",)}, {"1", "0"}),
        (("Y", "N"), {"case_when": ("Y",), "sound_when": ("fine",)}, {"N"}),
        (("sick", "fine"), {"case_when": ("!=fine",)}, {"fine"}),
    ],
)
def test_what_is_not_beyond_doubt_needs_a_meaning(words, rules, unknown):
    assert {word for word, meaning in meanings(*words, **rules).items() if meaning is None} == unknown
    with pytest.raises(RecordError, match="nothing says what"):
        map_sheet(sheet(*words), told(**rules))


def test_rules_of_one_meaning_may_be_repeated_and_all_hold():
    read = meanings(
        "1",
        "gone",
        "stump",
        "?",
        "-",
        "new",
        "2",
        missing_when=("gone", "stump"),
        unseen_when=("?", "-"),
        replanted_when=("new",),
        case_when=("1", "2"),
    )
    assert read == {
        "1": "case",
        "gone": "missing",
        "stump": "missing",
        "?": "unseen",
        "-": "unseen",
        "new": "replanted",
        "2": "case",
    }


def test_a_word_that_two_rules_claim_is_refused():
    with pytest.raises(RecordError, match="'9' by --case-when '>0' and --missing-when 9"):
        map_sheet(sheet("1", "0", "9"), told(case_when=(">0",), missing_when=("9",)))
    with pytest.raises(RecordError, match="'Gone' by --case-when '!=ok' and --missing-when gone"):
        map_sheet(sheet("ok", "Gone"), told(case_when=("!=ok",), missing_when=("gone",)))
    assert meanings("1", "0", "9", case_when=(">0",), meanings={"9": "missing"})["9"] == "missing"


def test_the_account_names_every_word_its_count_and_its_meaning():
    page = sheet("1", "1", "0", "ok", "gone", "?", "new", "", "Gone")
    mapped = map_sheet(page, told(missing_when=("gone",), unseen_when=("?",), replanted_when=("new",)))
    assert {
        "Sick read as a case: 1 (2)",
        "Sick read as scouted and sound, understood without a rule: 0 (1), ok (1)",
        "Sick read as no vine there: gone (2)",
        "Sick read as not scouted: ? (1)",
        "Sick read as replanted, a young vine: new (1)",
        "1 line(s) with an empty Sick: not scouted",
    } <= set(mapped.account)
    assert mapped.frames["surveys"]["covered"].tolist() == ["1:1..4; 1:7..7"]
    many = map_sheet(sheet("bad", *(str(n / 2) for n in range(100))), told(case_when=(">20", "bad")))
    assert "Sick read as a case: bad (1), 59 different numbers from 20.5 to 49.5 (59)" in many.account


def history_of(mapped):
    frames = {name: mapped.frames.get(name, empty_frame(name)) for name in ("rows", "plants", "surveys", "symptoms")}
    (block,) = records_of(mapped.frames["blocks"])
    grid = RowGrid.from_tables(block, frames["rows"])
    return build_history(read_block(BlockRecords(block=block, work=empty_frame("work"), **frames), grid), "leaf")


def test_each_meaning_becomes_what_it_says_in_the_history():
    rules = {
        "missing_when": ("gone",),
        "unseen_when": ("?",),
        "replanted_when": ("new",),
        "planted": 2000.0,
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1.5,
        "look": "summer",
        "symptom": "leaf_stripe",
    }
    history = history_of(map_sheet(sheet("1", "0", "gone", "?", "new", ""), told(**rules)))
    conditions = [Condition(one) for one in history.condition[-1][0]]
    assert conditions == [
        Condition.SHOWING,
        Condition.SOUND,
        Condition.MISSING,
        Condition.NOT_SEEN,
        Condition.YOUNG,
        Condition.NOT_SEEN,
    ]


def test_a_vine_called_replanted_year_after_year_was_planted_once():
    def of_years(*statuses):
        lines = [(n + 2, ["1", "1", status, f"{2020 + n}-08-01"]) for n, status in enumerate([*statuses, "1"])]
        page = Worksheet("plants.csv", "plants", ["Row", "Vine", "Sick", "Day"], lines)
        plants = map_sheet(page, told(missing_when=("gone",), replanted_when=("new",))).frames["plants"]
        return list(zip(plants["planted"].str[:4], plants["removed"].str[:4], strict=True))

    assert of_years("0", "new", "new", "0") == [("2021", "")]
    assert of_years("new", "", "new") == [("2020", "")]
    assert of_years("gone", "new") == [("", "2020"), ("2021", "")]
    assert of_years("new", "0", "new") == [("2020", ""), ("", "2022"), ("2022", "")]
    assert of_years("new", "gone", "new") == [("2020", ""), ("", "2021"), ("2022", "")]
