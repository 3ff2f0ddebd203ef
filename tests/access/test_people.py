"""trunkwatch.access: may, private, people, phones; who may enter, and what is kept of a code."""

import json
import stat
import threading

import pytest

from trunkwatch.access import people, phones
from trunkwatch.access.may import EVERYTHING, ROLES, Right, read_rights, rights_text
from trunkwatch.access.people import add_person, new_code, people_of, person_in, person_with_code, remove_person
from trunkwatch.access.phones import pair_phone, phone_with_cookie, phones_of, stop_phone, stop_phones_of
from trunkwatch.access.private import private_folder, read_private, turn, write_private
from trunkwatch.errors import AccessError, FileError


@pytest.fixture
def vines(tmp_path):
    (tmp_path / "v.gpkg").write_bytes(b"")
    return tmp_path / "v.gpkg"


def test_rights_are_read_one_by_one_and_by_role():
    assert read_rights(["look,log", "correct-own"]) == ROLES["scout"]
    assert read_rights(["Keeper"]) == EVERYTHING
    assert rights_text(ROLES["scout"]) == "scout (look, log, correct-own)"
    assert rights_text({Right.LOG}) == "log"
    for words in (["dance"], [], [" , "]):
        with pytest.raises(AccessError, match="one of look, log, correct-own, correct-all, import, keep"):
            read_rights(words)


def test_a_code_is_shown_once_and_only_its_hash_is_kept(vines):
    ana, code = add_person(vines, "Ana", EVERYTHING)
    kept = (private_folder(vines) / "people.json").read_text()
    digits = code.replace("-", "")
    assert len(digits) == 15
    assert not any(part in kept for part in (code, digits, digits[3:], *code.split("-")[1:]))
    assert person_with_code(people_of(vines), code) == ana
    assert person_with_code(people_of(vines), digits) == ana
    wrong = str((int(digits[-1]) + 1) % 10)
    for other in (
        digits[:-1] + wrong,
        "002" + digits[3:],
        digits[3:],
        digits + "0",
        "",
        "Ana",
        "\u0661" * 15,
        "9" * 400,
    ):
        assert person_with_code(people_of(vines), other) is None


def test_two_of_one_code_number_are_never_mixed_and_salts_differ(vines):
    codes = [add_person(vines, name, EVERYTHING)[1] for name in ("Ana", "Ben", "Cai")]
    assert [person_with_code(people_of(vines), code).name for code in codes] == ["Ana", "Ben", "Cai"]
    assert len({one.salt for one in people_of(vines).values()}) == 3


def test_files_are_private_and_beside_the_vineyard(vines, tmp_path):
    add_person(vines, "Ana", EVERYTHING)
    pair_phone(vines)
    folder = private_folder(vines)
    assert folder == tmp_path / "v.gpkg.desk"
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for file in folder.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o600, file
    link = tmp_path / "link.gpkg"
    link.symlink_to(vines)
    assert private_folder(link) == folder
    assert vines.read_bytes() == b""
    with pytest.raises(AccessError, match="is a folder"):
        add_person(tmp_path, "Ana", EVERYTHING)


def test_a_removed_person_is_out_and_comes_back_with_another_code(vines):
    add_person(vines, "Ana", EVERYTHING)
    _, code = add_person(vines, "Ben", ROLES["scout"])
    gone = remove_person(vines, " ben ")
    assert (gone.may, gone.hashed, gone.lives) == (frozenset(), "", False)
    assert person_with_code(people_of(vines), code) is None
    again, other = add_person(vines, "Ben", ROLES["reader"])
    assert (again.number, again.may) == (gone.number, ROLES["reader"])
    assert person_with_code(people_of(vines), code) is None
    assert person_with_code(people_of(vines), other).name == "Ben"
    _, third = new_code(vines, "Ben")
    assert person_with_code(people_of(vines), other) is None
    assert person_with_code(people_of(vines), third).may == ROLES["reader"]


def test_what_cannot_be_is_said_with_the_way_out(vines):
    with pytest.raises(AccessError, match="the first needs the right keep"):
        add_person(vines, "Ben", ROLES["scout"])
    add_person(vines, "Ana", EVERYTHING)
    add_person(vines, "Ben", ROLES["scout"])
    with pytest.raises(AccessError, match="there is a person 'ANA' already"):
        add_person(vines, "ANA", EVERYTHING)
    with pytest.raises(AccessError, match="there is no person 'Zoe'; who may enter: Ana, Ben"):
        remove_person(vines, "Zoe")
    with pytest.raises(AccessError, match="give somebody else that right first"):
        remove_person(vines, "Ana")
    for name in ("", "plan", "Plan", "Ana, phone 3", "a;b", "x" * 41, "\x1b[2J", "a\nb\x00", "<b>", "_x"):
        with pytest.raises(AccessError, match="cannot be the name"):
            add_person(vines, name, EVERYTHING)
    remove_person(vines, "Ben")
    assert not remove_person(vines, "Ana").lives  # the last of all may go: the desk is as it was before


def test_names_of_any_script_can_be(vines):
    for name in ("Ana-Mar\u00eda O'Neill", "\u0141ucja", "\u5c0f\u6797", "J. R. 2"):
        assert person_in(f"{add_person(vines, name, EVERYTHING)[0].name}, phone 3") == name
    assert person_in("Ana") == "Ana"


@pytest.mark.parametrize("text", ["", "{", "[]", "{}", '{"people": [{}]}', '{"people": [{"number": 1, "name": 2, "may": [], "salt": "", "hash": "", "since": "", "removed": ""}]}',
                                  '{"people": [{"number": 1, "name": "A", "may": ["fly"], "salt": "", "hash": "", "since": "", "removed": ""}]}'])  # fmt: skip
def test_a_damaged_list_lets_nobody_in(vines, text):
    write_private(vines, people.FILE, text.encode())
    with pytest.raises((AccessError, FileError), match=r"people\.json"):
        people_of(vines)


@pytest.mark.parametrize("text", ["{", "[]", '{"phones": [{"id": "x"}]}', '{"phones": [3]}'])
def test_a_damaged_list_of_phones_takes_nothing(vines, text):
    write_private(vines, phones.FILE, text.encode())
    with pytest.raises(FileError, match=r"phones\.json"):
        phones_of(vines)


def test_two_who_add_at_once_lose_nobody(vines):
    add_person(vines, "A0", EVERYTHING)
    threads = [threading.Thread(target=add_person, args=(vines, f"B{n}", ROLES["reader"])) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(one.name for one in people_of(vines).values()) == ["A0", *(f"B{n}" for n in range(6))]
    assert sorted(people_of(vines)) == [1, 2, 3, 4, 5, 6, 7]
    with turn(vines) as folder:
        assert [path.name for path in folder.glob("*.part")] == []


def test_phones_have_names_secrets_and_an_end(vines):
    assert phones_of(vines) == ()
    first, cookie = pair_phone(vines, person="Ana")
    second, other = pair_phone(vines, "Old one", "Ben")
    assert (first.device, second.device) == ("Ana, phone 1", "Ben, Old one")
    assert first.secret != second.secret
    assert len(bytes.fromhex(first.secret)) == 32
    kept = json.dumps(read_private(vines, phones.FILE))
    assert cookie not in kept
    assert phone_with_cookie(phones_of(vines), cookie) == first
    for wrong in (None, "", "x", first.id, first.cookie, "\udc00"):
        assert phone_with_cookie(phones_of(vines), wrong) is None
    gone = stop_phone(vines, "PHONE 1")
    assert (gone.secret, gone.cookie, gone.lives) == ("", "", False)
    assert phone_with_cookie(phones_of(vines), cookie) is None
    assert first.secret not in (private_folder(vines) / phones.FILE).read_text()
    with pytest.raises(AccessError, match="no paired phone 'phone 1'; the paired phones: Old one"):
        stop_phone(vines, "phone 1")
    with pytest.raises(AccessError, match="was, a phone 'phone 1'"):
        pair_phone(vines, "phone 1")
    assert pair_phone(vines)[0].name == "phone 2"
    assert [one.name for one in stop_phones_of(vines, "Ben")] == ["Old one"]
    assert phone_with_cookie(phones_of(vines), other) is None
