"""Jobs of workers: the card to print, a print judged, an unused strip described."""

from __future__ import annotations

import base64
from typing import Any

from service.readers.worker import Job
from stripread.words import speaking


def sheet_job(paper: str, _made: Any, _job: Job) -> bytes:  # noqa: ANN401 - what a worker was made with
    """The sheet with two cards as PDF, in a worker: the service's own process loads no drawing library."""
    from stripread.card.pdf import draw_sheet  # noqa: PLC0415

    return draw_sheet(paper)


def layout_job(paper: str, _made: Any, _job: Job) -> str:  # noqa: ANN401
    """Where everything lies on the card, as JSON."""
    from stripread.card.layout import layout_json  # noqa: PLC0415
    from stripread.card.pdf import PAPERS  # noqa: PLC0415

    page = PAPERS[paper]
    return layout_json(page.size_mm, page.origins_mm[0])


def judge_job(language: str, measured_mm: float | None, _made: Any, job: Job) -> dict[str, Any]:  # noqa: ANN401
    """A printed card judged, as its JSON object.

    Raises
    ------
    CallError
        If the measured length is none that the bar can have.
    """
    from stripread.printed.judge import judge_card  # noqa: PLC0415

    with speaking(language):
        return judge_card(job.photo.read_bytes(), job.name, measured_mm).to_dict()


def describe_job(language: str, picture: bool, pads: int | None, _made: Any, job: Job) -> dict[str, Any]:  # noqa: ANN401
    """An unused strip of so many counted ``pads`` described, as its JSON object; with ``picture`` a PNG in Base64."""
    from stripread.describe.read import trace_description  # noqa: PLC0415

    with speaking(language):
        trace = trace_description(job.photo.read_bytes(), job.name, pads)
        assert trace.description is not None
        told = trace.description.to_dict()
        if not picture or trace.card.photo is None:
            return {**told, "picture_png": None}
        from stripread.picture.of_described import described_picture  # noqa: PLC0415 - drawing is heavy

        return {**told, "picture_png": base64.b64encode(described_picture(trace)).decode()}
