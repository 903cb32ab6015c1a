"""What the commands share on the screen: progress bars on stderr, tables on stdout."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

    from pipeline.core.progress import Progress


@contextmanager
def steps() -> Iterator[Callable[[str], Progress]]:
    """Show one bar per step; give a function that opens the next one."""
    from rich.console import Console
    from rich.progress import BarColumn, TextColumn, TimeElapsedColumn
    from rich.progress import Progress as Bars

    console = Console(stderr=True)
    with Bars(
        TextColumn("{task.description}"),
        BarColumn(bar_width=24),
        TimeElapsedColumn(),
        console=console,
    ) as bars:
        running: list[int] = []

        def end_last() -> None:
            if running:
                task = bars.tasks[running[-1]]
                bars.update(task.id, total=task.total or 1, completed=task.total or 1)

        def step(words: str) -> Progress:
            end_last()
            task = bars.add_task(words, total=None)
            running.append(len(bars.tasks) - 1)

            def move(done: int, total: int) -> None:
                bars.update(task, completed=done, total=total)

            return move

        yield step
        end_last()
