"""The answer on one block: five lines and one list of this winter's vines, for report, page, desk and paper alike."""
