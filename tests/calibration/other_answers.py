"""What a grower who knows the vineyard answers in the mapping file of each workbook, further options, and the warning that is looked for."""

#: By name of the workbook: (section, key, answer) of each line changed; options of the command; words of a warning.
ANSWERS: dict[str, tuple[tuple[tuple[str, str, str], ...], tuple[str, ...], str]] = {
    "pruner's tally, sick vines only": (
        (
            ("words", "NV", "no vine"),
            ("words", "X", "dead"),
            ("words", "DA N", "dead_arm start"),
            ("words", "DA S", "dead_arm end"),
            ("words", "DA N + canker", "dead_arm start + canker"),
            ("words", "R", "work renew_trunk"),
            ('sheet."Sheet1"', "blank", "whole block"),
        ),
        (),
        "",
    ),
    "two winters side by side, merged": (
        (
            ('sheet."Mill Corner".columns', "Winter 2022/23 | Side", "arm"),
            ('sheet."Mill Corner".columns', "Winter 2023/24 | Side", "arm"),
            ("sides", "N", "start"),
        ),
        (),
        "",
    ),
    "French, a column a year": (
        (("words", "BDA", "leaf_stripe"), ("words", "rep. 2021", "replanted 2021")),
        (),
        "",
    ),
    "Italian, dates as text": (
        (('sheet."Foglio1"', "day_order", "day"), ("sides", "L", "start"), ("sides", "R", "end")),
        (),
        "",
    ),
    "German, sums under the list": ((("sides", "L", "start"),), ("--keep-good",), ""),
    "Portuguese, the row named once": ((("words", "braço seco esq", "dead_arm start"),), (), ""),
    "rows 12A and 12B, from the road": (
        (("words", "DA road", "dead_arm start"), ("words", "DA hill", "dead_arm end"), ("words", "NV", "no vine")),
        (),
        "",
    ),
    "dates in several orders": ((('sheet."log"', "day_order", "day"),), (), ""),
    "dates as serials, a sheet of codes": (
        (
            ("words", "n.l.", "not scouted"),
            ('sheet."data".columns', "Blk", "block"),
            ('sheet."data".columns', "Insp.", "date"),
            ('sheet."legend"', "is", "left out"),
        ),
        (),
        "",
    ),
    "percent dead in several ways": (
        (
            ("words", "% of cordon dead: 0.5", "dead_arm 50%"),
            ("words", "% of cordon dead: half", "dead_arm 50%"),
            ("words", "% of cordon dead: 1", "dead_arm 100%"),
            ("words", "% of cordon dead: 25", "dead_arm 25%"),
        ),
        (),
        "",
    ),
    "ranges of vines": (
        (('sheet."East Bench"', "blank", "whole rows"),),
        ("--keep-good",),
        "",
    ),
    "formulas with values, a line of averages": (
        (
            ('sheet."Lower Flat".columns', "Dead spurs", "left out"),
            ('sheet."Lower Flat"', "day", "2024-02-15"),
        ),
        (),
        "",
    ),
    "formulas without values": ((('sheet."Lower Flat"', "day", "2024-02-15"),), (), ""),
    "abbreviations, remarks, notes below": (
        (
            ("words", "rep. 2024", "replanted 2024"),
            ("words", "rep. 2021", "replanted 2021"),
            ('sheet."Register"', "fill_down", "yes"),
        ),
        ("--keep-good",),
        "stands twice on one day",
    ),
    "a map a block, rows across the page": ((("words", "/", "not scouted"),), (), ""),
    "counts a row, no vines": ((('sheet."2023"', "is", "left out"),), (), ""),
    "Spanish, a sheet a year": (
        (("words", "1", "not scouted"), ("words", "replantada", "replanted 2022")),
        (),
        "",
    ),
    "every second vine": ((("words", "LS", "leaf_stripe"), ("words", "NV", "no vine")), (), ""),
    "sick vines only, in a grid": (
        (
            ("words", "not walked - tractor", "not scouted"),
            ("words", "NV", "no vine"),
            ('sheet."South"', "blank", "sound"),
        ),
        (),
        "",
    ),
    "a hidden sheet and a hidden column": (
        (
            ("words", "DA", "not scouted"),
            ('sheet."Creek"', "day", "2024-02-15"),
            ('sheet."Creek".columns', "old", "left out"),
            ('sheet."draft"', "is", "left out"),
        ),
        (),
        "",
    ),
    "rows numbered in turn": ((('block."Creekside"', "rows_from_far_end", '["2", "4"]'),), (), ""),
    "ones and noughts, sums below": ((("words", "1", "dead"),), (), ""),
    "the block named on its first line": ((('sheet."Sheet1"', "fill_down", "yes"),), (), ""),
}
