"""trunkwatch.vineyard.faults: a fault as a line of text, and many of one cause as one."""

from trunkwatch.vineyard.faults import Fault, folded


def waiting(line, *about, file="symptoms.csv"):
    return Fault("fault", "unknown block", file, line, "block", about[0], "A perhaps", about, waits=True)


def test_a_fault_says_where_what_and_what_was_expected():
    fault = Fault("fault", "no such position", "x.csv", 4, "position", "99", "1 to 40 in row 2")
    assert str(fault) == "x.csv, line 4, column position: no such position ('99'); expected: 1 to 40 in row 2"


def test_lines_that_name_one_thing_in_vain_are_one_fault_at_the_first():
    other = Fault("fault", "no such position", "symptoms.csv", 4)
    out = folded([waiting(2, "B"), waiting(3, "C"), other, waiting(5, "B")])
    assert [(fault.line, fault.lines) for fault in out] == [(2, 2), (3, 1), (4, 1)]
    assert (
        str(out[0])
        == "symptoms.csv, line 2, column block: unknown block: 2 lines, this is the first ('B'); expected: A perhaps"
    )
    assert str(out[1]) == str(waiting(3, "C"))


def test_lines_wait_for_the_block_or_row_that_is_itself_at_fault():
    training = Fault("fault", "no such code", "blocks.csv", 2, "training", "wavy", about=("B",))
    last = Fault("fault", "last is no number", "rows.csv", 7, "last", "nine", about=("C", "3"))
    note = Fault("note", "odd", "blocks.csv", 3, about=("D",))
    faults = [
        training,
        last,
        note,
        *(waiting(line, "B") for line in range(2, 2007)),
        waiting(9, "C", "3"),
        waiting(10, "C", "4"),
        waiting(11, "D"),
    ]
    out = folded(faults)
    assert out[:3] == [training, last, note]
    assert [str(fault) for fault in out[3:5]] == [
        "symptoms.csv, line 2, column block: 2,005 lines of block B wait for it; expected: blocks.csv, line 2, column training fixed first",
        "symptoms.csv, line 9, column block: 1 line of row 3 of block C waits for it; expected: rows.csv, line 7, column last fixed first",
    ]
    assert [fault.problem for fault in out[5:]] == ["unknown block", "unknown block"]
    assert sum(fault.lines for fault in out) == len(faults)
