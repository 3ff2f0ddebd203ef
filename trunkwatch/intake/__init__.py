"""From notes to records: checks first, then into a folder or a file, whole or not at all."""

from trunkwatch.intake.accept import accept_file
from trunkwatch.intake.add import Added, add_frames, add_records, merge_file, put_into_tables
from trunkwatch.intake.checks import check_frames, check_vineyard
from trunkwatch.intake.correct import Corrected, correct_record
from trunkwatch.intake.enter import enter_records
from trunkwatch.intake.start import start_file, start_folder
from trunkwatch.intake.whole_file import write_file

__all__ = [
    "Added",
    "Corrected",
    "accept_file",
    "add_frames",
    "add_records",
    "check_frames",
    "check_vineyard",
    "correct_record",
    "enter_records",
    "merge_file",
    "put_into_tables",
    "start_file",
    "start_folder",
    "write_file",
]
