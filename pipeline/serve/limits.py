"""What the intake page takes in, at most."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Limits:
    """Upper limits of one desk; all are house rules.

    `file_bytes`, `drop_bytes`, `desk_bytes`: of one file, of all files of one drop, of all files
    on the desk. `drained_bytes`: what is read away of a drop that is too large, so that the
    browser gets its answer. `form_bytes`: of a form without files. `request_s`, `check_s`: seconds
    for one request to come in and for one check. `memory_bytes`, `written_bytes`: address space
    and largest file of the process that checks.
    """

    file_bytes: int = 40_000_000
    drop_bytes: int = 120_000_000
    drop_files_count: int = 60
    desk_bytes: int = 400_000_000
    desk_files_count: int = 300
    drained_bytes: int = 1_000_000_000
    form_bytes: int = 2_000_000
    answer_letters_count: int = 2_000
    request_s: float = 120.0
    check_s: float = 300.0
    memory_bytes: int = 6_000_000_000
    written_bytes: int = 600_000_000
