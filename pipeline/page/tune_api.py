"""Addresses of one tune: its state, edits, ranking, layers, sound, files."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from starlette.requests import Request
from starlette.responses import FileResponse, Response

from liltwright import options
from liltwright.errors import PipelineError, UsageError
from liltwright.options import OutputOptions
from liltwright.page.notes import whole
from liltwright.page.tasks import PageTask
from liltwright.tab import Arrangement
from liltwright.write.folder.ledger import is_plain_file, read_list

TOLD = 30
"""So many setups with reasons."""
SOUND_KINDS = {
    ".wav": "audio/wav", ".flac": "audio/flac", ".mp3": "audio/mpeg", ".ogg": "audio/ogg",
    ".oga": "audio/ogg", ".opus": "audio/ogg", ".m4a": "audio/mp4", ".aac": "audio/aac",
    ".mp4": "audio/mp4", ".webm": "audio/webm",
}  # fmt: skip


def _bench(context: Any, request: Request) -> Any:
    return context.bench(request.path_params["tune"])


def _narrow(request: Request) -> bool:
    return request.query_params.get("narrow") == "1"


def state(context: Any, request: Request, body: Any) -> Any:
    """The tune as it is."""
    from liltwright.page import view

    bench = _bench(context, request)
    with bench.journal.lock:
        return view.state(bench, narrow=_narrow(request))


def edit(context: Any, request: Request, body: Any) -> Any:
    """One or more changes, undo or redo, made on a version; gives the new state."""
    from liltwright.page import view

    bench = _bench(context, request)
    version = whole(body, "version")
    journal = bench.journal
    with journal.lock:
        if body.get("undo"):
            journal.undo(version)
        elif body.get("redo"):
            journal.redo(version)
        else:
            wanted = body.get("edit")
            if not isinstance(wanted, dict):
                raise UsageError("The request holds no edit: load the page again.")
            journal.do(wanted, version)
        bench.changed()
        return view.state(bench, narrow=_narrow(request))


def mark(context: Any, request: Request, body: Any) -> Any:
    """Mark a bar for practice."""
    bench = _bench(context, request)
    bar, word = whole(body, "bar"), body.get("word", "")
    if not isinstance(word, str) or not 0 <= bar < len(bench.tune.written_bars()):
        raise UsageError("There is no such bar to mark.")
    bench.journal.mark(str(bar), word[:60])
    return {"marks": bench.journal.marks}


def picture(context: Any, request: Request, body: Any) -> Any:
    """The recording's picture with what was heard."""
    return {"rows": _bench(context, request).picture()}


def recording(context: Any, request: Request, body: Any) -> Any:
    """The recording itself."""
    path = _bench(context, request).recording()
    if path is None:
        raise PipelineError("The recording does not lie beside the tune any more.")
    kind = SOUND_KINDS.get(path.suffix.lower(), "application/octet-stream")
    return FileResponse(path, media_type=kind)


def bank(context: Any, request: Request, body: Any) -> Any:
    """The tones of single melody notes; the same for every tune."""
    from liltwright.page.sounding import melody_bank

    return Response(json.dumps(melody_bank()), media_type="application/json",
                    headers={"cache-control": "private, max-age=86400"})  # fmt: skip


def score(context: Any, request: Request, body: Any) -> Any:
    """What plays the tune, and the tune in the recording's time."""
    from liltwright.page.sounding import heard_score, tune_score

    bench = _bench(context, request)
    tune = bench.tune
    return {"version": bench.journal.version, "tune": tune_score(tune),
            "heard": heard_score(tune) if tune.bars_heard else None}  # fmt: skip


def ranking(context: Any, request: Request, body: Any) -> Any:
    """Where the tune sits; `matters` weighs it otherwise without keeping that."""
    from liltwright.page import view

    bench = _bench(context, request)
    asked = request.query_params.get("matters")
    matters = None
    if asked is not None:
        matters = options.weights([one for one in asked.split(",") if one])
    given = bench.wishes.matters if matters is None else matters
    return view.ranking(bench.ranking(matters), TOLD, dict(given))


def chart(context: Any, request: Request, body: Any) -> Any:
    """Where the melody lies on the neck."""
    from liltwright.write.report.charts import fretboard_chart

    bench = _bench(context, request)
    setup = bench.named(request.query_params.get("setup", "")) if request.query_params.get(
        "setup") else bench.setup()  # fmt: skip
    drawn = fretboard_chart(bench.tune, setup, player=context.player())
    return Response(drawn, media_type="image/svg+xml")


def strings(context: Any, request: Request, body: Any) -> Any:
    """The strings of a setup: tension and cautions."""
    from liltwright.guitar.tension import cautions
    from liltwright.page import view

    bench, player = _bench(context, request), context.player()
    setup = bench.named(request.query_params.get("setup", ""))
    said = cautions(setup.strings_midi, scale_mm=player.scale_mm, string_set=player.string_set)
    return {"setup": view.setup(setup), "strings": view.strings(setup, player),
            "cautions": list(said)}  # fmt: skip


def compare(context: Any, request: Request, body: Any) -> Any:
    """One layer on two setups, bar by bar."""
    from liltwright.arrange import compare as comparing
    from liltwright.page import view

    bench = _bench(context, request)
    pair = [bench.arrangement(request.query_params.get(name, "")) for name in ("one", "two")]
    layer = options.plain_layer(request.query_params.get("layer", "plain-bass"))
    found = comparing.compare(bench.tune, *pair, layer=layer, player=context.player())
    return {
        "one": view.setup(pair[0].setup), "two": view.setup(pair[1].setup),
        "summary": list(found.summary),
        "bars": [
            {"number": bar.number, "label": comparing.bar_label(bar), "easier": bar.easier,
             "one": [bar.first_grade.moves, round(bar.first_grade.stretch_mm)],
             "two": [bar.second_grade.moves, round(bar.second_grade.stretch_mm)],
             "tab_one": comparing.cell(bar.first), "tab_two": comparing.cell(bar.second)}
            for bar in found.bars
        ],
    }  # fmt: skip


def layers(context: Any, request: Request, body: Any) -> Any:
    """The arrangement in words and numbers; of=stages: the stages of the finished page."""
    from liltwright.page import view

    bench, player = _bench(context, request), context.player()
    if _of(request):
        stages = bench.stages()
        found = view.arrangement(stages.tune, stages.arrangement, player)
        parts = [{"name": part.name, "repeats": part.repeats} for part in stages.tune.parts]
        return {**found, "version": bench.journal.version, "words": list(stages.words),
                "parts": parts, "bars": view.bars(stages.tune)}  # fmt: skip
    found = view.arrangement(bench.tune, bench.arrangement(), player)
    return {"version": bench.journal.version, **found}


def layer(context: Any, request: Request, body: Any) -> Any:
    """A layer engraved; under=NAME: with another one under it, bar under bar."""
    bench, asked = _bench(context, request), request.query_params
    name, under = asked.get("name", "plain-bass"), asked.get("under", "")
    return {"music": bench.layer_music(name, narrow=_narrow(request), under=under,
                                       of=_of(request))}  # fmt: skip


def sound(context: Any, request: Request, body: Any) -> Any:
    """What plays the layers."""
    return _bench(context, request).layers_sound(_of(request))


def _of(request: Request) -> str:
    """Whose layers are asked for: those of the arrangement, or "stages" of the finished page."""
    return "stages" if request.query_params.get("of") == "stages" else ""


def anew(context: Any, request: Request, body: Any) -> Any:
    """Read the recording again as another type or metre; undo brings the edits back."""
    from liltwright.page import view
    from liltwright.page.anew import read_anew

    bench = _bench(context, request)
    journal = bench.journal
    version = whole(body, "version")
    given = {name: body.get(name) or "" for name in ("type", "metre")}
    if not all(isinstance(value, str) for value in given.values()):
        raise UsageError("Type and metre are given as words.")
    state = journal.expected(version)
    found = read_anew(state.tune, given["type"], given["metre"])
    with journal.lock:
        journal.take_anew(found, version)
        bench.changed()
        return view.state(bench, narrow=_narrow(request))


def files(context: Any, request: Request, body: Any) -> Any:
    """The files in the tune's folder that can be had."""
    bench = _bench(context, request)
    return {"files": [{"name": name, "bytes": path.stat().st_size}
                      for name, path in _listed(bench).items()]}  # fmt: skip


def _listed(bench: Any) -> dict[str, Path]:
    listed = read_list(bench.folder)
    own = {name: bench.folder / name for name in listed}
    recording = bench.recording()
    if recording is not None and recording.parent == bench.folder:
        own[recording.name] = recording
    return {name: path for name, path in sorted(own.items()) if is_plain_file(path)}


def file(context: Any, request: Request, body: Any) -> Any:
    """One of these files, to be kept."""
    bench = _bench(context, request)
    path = _listed(bench).get(request.query_params.get("name", ""))
    if path is None:
        raise PipelineError("There is no such file here: look at the list again.")
    return FileResponse(path, media_type="application/octet-stream", filename=path.name)


def write(context: Any, request: Request, body: Any) -> Any:
    """Every file of the contract for the tune as it is now, as a task."""
    bench = _bench(context, request)
    wanted = request.path_params["tune"]

    def work(task: PageTask) -> str:
        from liltwright.write.files import is_left_out, render
        from liltwright.write.folder.save import save

        bench.write()
        task.progress("trying tunings", 0.1)
        ranked = bench.ranking()
        made: tuple[Arrangement, ...] = (bench.arrangement(),)
        words: tuple[str, ...] = ()
        if bench.finished_page() is not None:
            stages = bench.stages()
            if stages.tune.parts == bench.tune.parts:  # as `unpick` writes them
                made, words = (stages.arrangement, *made), stages.words
        output = OutputOptions(sound=bool(body.get("sound", True)))
        done = render(bench.tune, ranked, made, bench.audio(), output, context.player(),
                      task.progress, page=words)  # fmt: skip
        save(done, bench.folder, stays=lambda name: is_left_out(name, output))
        return str(wanted)

    return context.tasks.start("writing the files", work).plain()


_OF_A_TUNE = tuple(
    (method, f"/api/tune/{{tune}}{path}", handler)
    for method, path, handler in (
        ("GET", "", state), ("POST", "/edit", edit), ("POST", "/anew", anew),
        ("POST", "/mark", mark),
        ("GET", "/picture", picture), ("GET", "/recording", recording), ("GET", "/score", score),
        ("GET", "/ranking", ranking), ("GET", "/chart", chart), ("GET", "/strings", strings),
        ("GET", "/compare", compare), ("GET", "/layers", layers), ("GET", "/layer", layer),
        ("GET", "/sound", sound), ("GET", "/files", files), ("GET", "/file", file),
        ("POST", "/write", write),
    )
)  # fmt: skip
ROUTES = (*_OF_A_TUNE, ("GET", "/api/bank", bank))
