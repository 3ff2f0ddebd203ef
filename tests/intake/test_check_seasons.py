"""trunkwatch.intake: check_seasons; what is asked about damage from season to season, on one row."""

from typed import reading_of

from trunkwatch.intake.check_seasons import check_seasons

BLOCK = {"block": "A", "planted": 2000, "training": "bilateral", "hemisphere": "north"}
ROWS = [{"block": "A", "row": "1", "row_order": 1, "last": 8}]


def walk(day, look="dormant"):
    return {"survey": day, "block": "A", "date": day, "look": look, "covered": "1"}


def seen(position, day, symptom="dead_arm", arm="start"):
    return {"block": "A", "row": "1", "position": str(position), "date": day, "symptom": symptom, "arm": arm}


def problems(surveys, *symptoms):
    return [
        fault.problem for fault in check_seasons(reading_of(BLOCK, rows=ROWS, surveys=surveys, symptoms=list(symptoms)))
    ]


YEARS = [walk(f"{year}-02-10") for year in (2024, 2025, 2026)]


def test_a_later_look_of_the_same_season_owes_no_second_mention():
    assert problems([walk("2024-02-10"), walk("2024-05-10", "spring")], seen(3, "2024-02-10")) == []
    (said,) = problems([walk("2024-02-10"), walk("2024-05-10", "spring"), walk("2025-02-10")], seen(3, "2024-02-10"))
    assert said.startswith(
        "dead_arm is not mentioned in 2025 and no work cleared it: it is carried on; last seen 2024-02-10"
    )


def test_what_is_said_without_the_arm_is_a_mention_too():
    told = problems(YEARS, seen(3, "2024-02-10"), seen(3, "2025-02-10", arm=""))
    assert len(told) == 2
    assert all("not mentioned in 2026" in one and one.endswith("last seen 2025-02-10") for one in told)


def test_only_the_same_damage_alone_on_the_next_vine_is_perhaps_one_vine_off():
    first = seen(4, "2024-02-10")
    slip = "perhaps the finding of 2024-02-10 at position 4, one vine off"
    assert problems(YEARS[:2], first, seen(5, "2025-02-10")) == [slip]
    assert problems(YEARS[:2], first, seen(3, "2025-02-10")) == [slip]
    for other in (
        [seen(5, "2025-02-10", arm="end")],
        [seen(5, "2025-02-10", "canker")],
        [seen(6, "2025-02-10")],
        [seen(5, "2025-02-10"), seen(5, "2025-02-10", "dead_trunk", "")],
    ):
        (said,) = problems(YEARS[:2], first, *other)
        assert said.startswith("dead_arm is not mentioned in 2025"), other
