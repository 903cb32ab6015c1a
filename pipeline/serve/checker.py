"""Keeps the check of a desk up to date: in a process beside, with a limit on its time."""

from __future__ import annotations

import asyncio
import json
import os
import sys
from asyncio.subprocess import DEVNULL, PIPE, Process
from contextlib import suppress
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from pipeline.serve.desk import Desk

IDLE: Final = "idle"
CHECKING: Final = "checking"
DONE: Final = "done"
FAILED: Final = "failed"
_ROOT: Final = Path(__file__).parents[2]


class Checker:
    """The state of the check: `state`, the words of its step, its result or its fault."""

    def __init__(self, desk: Desk, config: Path | None) -> None:
        self.desk, self.config = desk, config
        self.state = IDLE
        self.words = ""
        self.fault: dict[str, str] = {}
        self.result: dict[str, Any] | None = None
        self._process: Process | None = None
        self._task: asyncio.Task[None] | None = None
        self._is_stale = False
        self._starting = asyncio.Lock()

    def changed(self) -> None:
        """Say that the files or the answers are others than before."""
        self._is_stale = True
        self.state = CHECKING
        if self._task is None or self._task.done():
            self._task = asyncio.create_task(self._work())

    async def wait(self, most_s: float) -> None:
        """Wait for the check that is going on, but not longer than this."""
        if self._task is not None:
            with suppress(TimeoutError):
                await asyncio.wait_for(asyncio.shield(self._task), most_s)

    async def close(self) -> None:
        """End the check and its process."""
        if self._task is not None:
            self._task.cancel()
            with suppress(asyncio.CancelledError):
                await self._task
        await self._end()

    async def warm(self) -> None:
        """Start the process before it is needed: its libraries take a while to load."""
        await self._started()

    async def _work(self) -> None:
        try:
            while self._is_stale:
                self._is_stale = False
                await self._check()
        except (OSError, ValueError) as fault:
            await self._end()
            self._fail("The check could not be made.", str(fault), "Try again.")

    async def _check(self) -> None:
        files = [str(p) for p in self.desk.paths()]
        if not files:
            self.state, self.result, self.words = IDLE, None, ""
            return
        self.words = "Reading the surveys"
        job = {
            "files": files,
            "config": str(self.config) if self.config else None,
            "answers": [asdict(a) for a in self.desk.answers.values()],
            "out": str(self.desk.out),
        }
        try:
            answer = await asyncio.wait_for(self._ask(job), self.desk.limits.check_s)
        except TimeoutError:
            await self._end()
            self._fail(
                f"The check took longer than {self.desk.limits.check_s:.0f} seconds and was ended.",
                "The file that came last may hold far more than a survey.",
                "Remove it, or send it in parts.",
            )
            return
        if answer is None:
            await self._end()
            self._fail(
                "The check ended before it was done.",
                "The file that came last may need more memory than a check may use.",
                "Remove it, or send it in parts.",
            )
        elif self._is_stale:
            return
        elif "fault" in answer:
            self._fail(**answer["fault"])
        else:
            text = (self.desk.out / "result.json").read_text("utf-8")
            self.result, self.state, self.words = json.loads(text), DONE, ""

    def _fail(self, what: str, why: str, mend: str) -> None:
        self.fault = {"what": what, "why": why, "mend": mend}
        self.state, self.result, self.words = FAILED, None, ""

    async def _ask(self, job: dict[str, Any]) -> dict[str, Any] | None:
        """Give a job; its answer, or None where the process ended."""
        process = await self._started()
        assert process.stdin is not None
        assert process.stdout is not None
        try:
            process.stdin.write(json.dumps(job).encode() + b"\n")
            await process.stdin.drain()
        except ConnectionError:
            return None
        while line := await process.stdout.readline():
            message: dict[str, Any] = json.loads(line)
            if "step" in message:
                self.words = str(message["step"])
            elif "ready" not in message:
                return message
        return None

    async def _started(self) -> Process:
        async with self._starting:
            return await self._start()

    async def _start(self) -> Process:
        if self._process is not None and self._process.returncode is None:
            return self._process
        limits = self.desk.limits
        short_lived = str(self.desk.incoming)
        self._process = await asyncio.create_subprocess_exec(
            sys.executable, "-P", "-B", "-m", "pipeline.serve.work",
            str(limits.memory_bytes), str(limits.written_bytes),
            stdin=PIPE, stdout=PIPE, stderr=None if os.environ.get("STANCH_DEBUG") else DEVNULL,
            start_new_session=True,  # Ctrl-C is for the server, which then ends this one
            cwd=self.desk.folder,
            env=_environment(short_lived),
        )  # fmt: skip
        return self._process

    async def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None and process.returncode is None:
            with suppress(ProcessLookupError):
                process.kill()
            await process.wait()


def _environment(short_lived: str) -> dict[str, str]:
    """The environment of the process: its short-lived files stay on the desk, no token in it."""
    known = {k: v for k, v in os.environ.items() if not k.startswith("STANCH_TOKEN")}
    paths = [str(_ROOT), *filter(None, [known.get("PYTHONPATH")])]
    return {
        **known,
        "PYTHONPATH": os.pathsep.join(paths),
        "TMPDIR": short_lived,
        "TEMP": short_lived,
        "TMP": short_lived,
    }
