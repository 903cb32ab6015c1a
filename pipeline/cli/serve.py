"""`stanch serve`: the intake page, for this machine unless told otherwise."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def serve(
    config: Annotated[
        Path | None, typer.Option(help="Settings file of the programme: adds places and levels.")
    ] = None,
    port: Annotated[int, typer.Option(help="Port to listen on; 0 takes a free one.")] = 8765,
    host: Annotated[
        str, typer.Option(help="Address to listen on; beyond this machine a token is asked for.")
    ] = "127.0.0.1",
    token: Annotated[
        str,
        typer.Option(
            envvar="STANCH_TOKEN", show_default=False,
            help="Token that browsers have to give; made anew where one is needed and not given.",
        ),
    ] = "",
    folder: Annotated[
        Path | None, typer.Option(help="Keep files and answers here; else they are forgotten.")
    ] = None,
) -> None:  # fmt: skip
    """Serve a page on which surveyors drop files and answer questions, and maps are opened."""
    from pipeline.serve.app import Place
    from pipeline.serve.server import clear, new_folder
    from pipeline.serve.server import serve as serve_page

    own = folder if folder is not None else new_folder()
    try:
        serve_page(
            Place(
                folder=own.resolve(),
                outputs=Path.cwd() / "outputs",
                config=config.resolve() if config is not None else None,
                host=host,
                port=port,
                token=token,
            ),
            lambda line: print(line, flush=True),
            is_kept=folder is not None,
        )
    finally:
        if folder is None:
            clear(own)
