"""The commands. Each is a few lines that call another room; what it needs is imported when it runs."""

from __future__ import annotations

import json
import os
import sys
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date

    from benchproof.archive.build import Manner
    from benchproof.archive.publication import Publication
    from benchproof.campaign.workspace import Workspace

app = typer.Typer(
    name="benchproof",
    help="Turns test campaigns of small electric motors into published, re-runnable reports.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Names = Annotated[list[str] | None, typer.Argument(metavar="[CAMPAIGN]...", help="Campaigns; none means all.")]
AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object for scripts.")]
Where = Annotated[
    Path | None,
    typer.Option("--workspace", metavar="DIR", help="The folder with runs/; found from here by default."),
]

_UNUSABLE = 2


@app.callback()
def options(context: typer.Context, workspace: Where = None) -> None:
    """Turn test campaigns of small electric motors into published, re-runnable reports."""
    context.obj = workspace


def _workspace(context: typer.Context) -> Workspace:
    from benchproof.campaign.workspace import Workspace

    return Workspace(_root(context))


def _root(context: typer.Context) -> Path:
    """Return the workspace's folder."""
    from benchproof.campaign.location import workspace_root
    from benchproof.errors import RequestError

    stated: Path | None = context.obj
    if stated is None:
        return workspace_root(Path.cwd())
    if not (stated / "runs" / "lab.yaml").is_file():
        message = f"{stated} holds no runs/lab.yaml; name the folder that holds runs/"
        raise RequestError(message)
    return stated.absolute()


def _chosen(workspace: Workspace, names: list[str] | None) -> tuple[str, ...]:
    """Return the campaigns that were named, or all.

    Raises
    ------
    RequestError
        If one is not there, or there is none at all.
    """
    from benchproof.campaign.units import nearest
    from benchproof.errors import RequestError

    known = workspace.campaign_names()
    for name in names or ():
        if name not in known:
            near = nearest(name, known)
            hint = f"did you mean {near}?" if near else f"there are {', '.join(known) or 'none'}"
            message = f"no campaign {name!r} under runs/; {hint}"
            raise RequestError(message)
    if not known:
        message = "no campaign under runs/; `benchproof new CAMPAIGN` starts one"
        raise RequestError(message)
    return tuple(dict.fromkeys(names or known))


@contextmanager
def _answers(as_json: bool) -> Iterator[None]:
    """Turn our errors into an exit code and lines without a traceback."""
    from benchproof.errors import BenchproofError, unforeseen

    try:
        yield
    except BenchproofError as error:
        _refused(str(error).splitlines(), as_json)
    except KeyboardInterrupt:
        _say("interrupted; what was in place before is still there", error=True)
        raise typer.Exit(130) from None
    except OSError as error:
        _refused([f"a file could not be read or written: {error}"], as_json)
    except typer.Exit:
        raise
    except Exception as error:  # noqa: BLE001 - no traceback reaches a user
        _refused([unforeseen("benchproof", error)], as_json)


def _refused(lines: list[str], as_json: bool) -> None:
    if as_json:
        _say(json.dumps({"ok": False, "problems": lines}, ensure_ascii=False, indent=2))
    else:
        for line in lines:
            _say(line, error=True)
    raise typer.Exit(_UNUSABLE) from None


def _say(line: str, *, error: bool = False) -> None:
    typer.echo(line, err=error)


def _print_json(record: dict[str, Any]) -> None:
    _say(json.dumps(record, ensure_ascii=False, indent=2))


@app.command(epilog="Example: benchproof new 2026-06-sorrel-2207 raw/s1-sweep-1.csv")
def new(
    context: typer.Context,
    campaign: Annotated[str, typer.Argument(help="Name of the campaign, such as 2026-06-sorrel-2207.")],
    logs: Annotated[list[Path] | None, typer.Argument(metavar="[LOG]...", help="Logs to copy into raw/.")] = None,
    as_json: AsJson = False,
) -> None:
    """Start a campaign file from the lab's defaults and its logs; explains every field."""
    with _answers(as_json):
        from benchproof.archive.starting import start_campaign

        made = start_campaign(_workspace(context), campaign, logs or [])
        if as_json:
            _print_json({"ok": True, "campaign": campaign, "files": made})
        else:
            for name in made:
                _say(f"wrote {name}")
            _say(f"Fill in the fields of {made[0]}, then run: benchproof check {campaign}")


@app.command(epilog="Example: benchproof check 2026-03-tansy-2207")
def check(context: typer.Context, campaigns: Names = None, as_json: AsJson = False) -> None:
    """Read and judge the inputs without running anything."""
    with _answers(as_json):
        from benchproof.archive.checking import check_all
        from benchproof.archive.outcome import exit_code

        workspace = _workspace(context)
        found = check_all(workspace, _chosen(workspace, campaigns))
        if as_json:
            _print_json({"ok": not any(f.problems for f in found), "campaigns": [f.record() for f in found]})
        else:
            for one in found:
                _say(f"{one.campaign}: {one.summary}")
                for line in (*one.problems, *one.warnings):
                    _say(f"  {line}")
        raise typer.Exit(exit_code([one.outcome for one in found]))


@app.command(epilog="Example: benchproof build 2026-03-tansy-2207")
def build(
    context: typer.Context,
    campaigns: Names = None,
    workers: Annotated[
        int | None, typer.Option(min=1, max=64, help="How many notebooks may run at once; one a core by default.")
    ] = None,
    scheduler: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Let the workers of an existing Dask cluster run them.")
    ] = None,
    recheck: Annotated[
        bool, typer.Option("--recheck", help="Read and assemble everything, whatever an earlier build saw.")
    ] = False,
    time_limit: Annotated[
        float, typer.Option(min=1, metavar="SECONDS", help="How long one campaign's notebook may take.")
    ] = 1800.0,
    as_json: AsJson = False,
) -> None:
    """Run what is stale and assemble build/preview; no name means everything."""
    with _answers(as_json):
        from benchproof.archive.ahead import warm_ahead
        from benchproof.archive.running import chosen_kernels

        kernels = chosen_kernels(os.environ)
        if scheduler is None and kernels == "warm":
            warm_ahead(_root(context))
        from benchproof.archive.build import Build, Manner
        from benchproof.archive.outcome import exit_code
        from benchproof.archive.progress import Progress

        workspace = _workspace(context)
        names = _chosen(workspace, campaigns)
        manner = Manner(workers or os.cpu_count() or 1, scheduler, recheck, time_limit, kernels)
        with Progress(len(names), quiet=as_json) as progress:
            outcomes = Build(workspace, names, manner).run(progress.tell, progress.note)
        if as_json:
            _print_json({"ok": exit_code(outcomes) == 0, "campaigns": [o.record() for o in outcomes]})
        else:
            _say(f"{progress.summary(outcomes)}; `benchproof view` shows build/preview/index.html")
        raise typer.Exit(exit_code(outcomes))


@app.command(epilog="Example: benchproof impact --page")
def impact(
    context: typer.Context,
    campaigns: Names = None,
    page: Annotated[bool, typer.Option("--page", help="Write build/preview/impact.html too.")] = False,
    as_json: AsJson = False,
) -> None:
    """Say what would move against the last published revisions: verdicts, ranks, figures; publishes nothing."""
    with _answers(as_json):
        from benchproof.archive.impact import impact_of
        from benchproof.archive.impact_told import tell_impact
        from benchproof.archive.outcome import Outcome, exit_code
        from benchproof.archive.progress import Progress
        from benchproof.report.impact import write_impact

        workspace = _workspace(context)
        names = _chosen(workspace, campaigns)
        with Progress(len(names), quiet=as_json) as progress:
            found = impact_of(workspace, names, _manner(), progress.tell, progress.note)
        written = write_impact(workspace.root / "build" / "preview", found, workspace.lab()) if page else None
        states = [Outcome(e.campaign, "failed" if e.state == "failed" else "unchanged") for e in found.campaigns]
        code = exit_code(states)
        if as_json:
            _print_json({"ok": code == 0, **found.record(), "page": None if written is None else str(written)})
        else:
            tell_impact(found, workspace.lab().coverage)
            if written is not None:
                _say("build/preview/impact.html shows it")
        raise typer.Exit(code)


@app.command(epilog='Example: benchproof publish 2026-03-tansy-2207 -m "Thrust cell calibrated again"')
def publish(
    context: typer.Context,
    reason: Annotated[str, typer.Option("-m", "--reason", help="Why, for readers: printed in history and errata.")],
    campaigns: Names = None,
    withdraw: Annotated[bool, typer.Option("--withdraw", help="Leave a page that says why instead.")] = False,
    as_json: AsJson = False,
) -> None:
    """Place the built reports in build/site; adds a revision where figures or words changed."""
    with _answers(as_json):
        from benchproof.archive.outcome import exit_code
        from benchproof.archive.publishing import Publishing
        from benchproof.errors import RequestError

        workspace = _workspace(context)
        if withdraw and not campaigns:
            message = "name the campaigns to withdraw"
            raise RequestError(message)
        names = _chosen(workspace, campaigns)
        publishing = Publishing(
            workspace, names, reason, _today(), named=bool(campaigns), withdraw=withdraw, manner=_manner()
        )
        done = publishing.run(_nothing if as_json else _tell_publication)
        code = exit_code([each.outcome for each in done])
        if as_json:
            _print_json({"ok": code == 0, "campaigns": [each.record() for each in done]})
        else:
            _say("build/site/index.html lists what is published; `benchproof view --site` shows it")
        raise typer.Exit(code)


def _nothing(_: Publication) -> None:
    """Say nothing, for scripts."""


def _tell_publication(done: Publication) -> None:
    number = f" (revision {done.revision})" if done.revision else ""
    _say(f"{done.campaign}: {done.state}{number}{': ' if done.said else ''}{done.said}")
    for line in done.problems:
        _say(f"  {line}", error=True)


def _manner() -> Manner:
    """Return how a build works that is a means to something else."""
    from benchproof.archive.build import Manner
    from benchproof.archive.running import chosen_kernels

    return Manner(os.cpu_count() or 1, kernels=chosen_kernels(os.environ))


def _today() -> date:
    """Return the day new revisions are dated: UTC, or that of SOURCE_DATE_EPOCH as reproducible builds have it."""
    stated = os.environ.get("SOURCE_DATE_EPOCH", "")
    moment = datetime.fromtimestamp(int(stated), tz=UTC) if stated.isdigit() else datetime.now(tz=UTC)
    return moment.date()


@app.command(epilog="Example: benchproof verify ~/Downloads/bundle.zip --choice air=as_tested")
def verify(
    bundle: Annotated[Path, typer.Argument(help="A report's bundle.zip.")],
    choice: Annotated[
        list[str] | None,
        typer.Option(
            "--choice", metavar="NAME=VALUE", help="An analysis choice of yours, against the published figures."
        ),
    ] = None,
    run_bundled_notebook: Annotated[
        bool,
        typer.Option(
            "--run-bundled-notebook",
            help="Run the notebook that came in the bundle instead of the installed one. This executes code of whoever "
            "made the bundle, with your rights: read it first.",
        ),
    ] = False,
    as_json: AsJson = False,
) -> None:
    """Check a downloaded bundle: checksums, analysis run again, figures the same or not; runs no code of the bundle."""
    with _answers(as_json):
        from benchproof.archive.verify import in_words
        from benchproof.archive.verify import verify as verified

        found = verified(bundle, _choices(choice or []), bundled_notebook=run_bundled_notebook)
        if as_json:
            _print_json(found.record())
        else:
            for line in in_words(found):
                _say(line)
        raise typer.Exit(0 if found.ok else 1)


def _choices(given: list[str]) -> dict[str, str]:
    """Return choices written as NAME=VALUE.

    Raises
    ------
    RequestError
        If one is written otherwise.
    """
    from benchproof.errors import RequestError

    for each in given:
        if not all(each.partition("=")[::2]):
            message = f"the choice {each!r} is not written NAME=VALUE"
            raise RequestError(message)
    return {name: value for name, _, value in (each.partition("=") for each in given)}


@app.command(epilog="Example: benchproof view --port 8123")
def view(
    context: typer.Context,
    site: Annotated[bool, typer.Option("--site", help="Show build/site instead of build/preview.")] = False,
    port: Annotated[int, typer.Option(min=0, max=65535, help="Port on this machine; 0 takes a free one.")] = 8123,
    as_json: AsJson = False,
) -> None:
    """Serve build/preview on this machine only, until Ctrl-C."""
    with _answers(as_json):
        from benchproof.archive.serving import serve

        serve(
            _workspace(context).root / "build" / ("site" if site else "preview"),
            port,
            as_json=as_json,
            say=_say,
        )


@app.command(epilog='Example: papermill "$(benchproof notebook motor)" out.ipynb -f campaign.yaml')
def notebook(
    kind: Annotated[str, typer.Argument(help="Kind of campaign: motor or comparison.")],
    as_json: AsJson = False,
) -> None:
    """Print where the installed notebook of a kind lies."""
    with _answers(as_json):
        from benchproof.archive.notebook_files import NOTEBOOKS, notebook_path
        from benchproof.errors import RequestError

        if kind not in NOTEBOOKS:
            message = f"no notebook of kind {kind!r} in this version; there is {', '.join(NOTEBOOKS)}"
            raise RequestError(message)
        path = str(notebook_path(kind))
        _print_json({"ok": True, "kind": kind, "path": path}) if as_json else _say(path)


def main() -> None:
    """Run the command line."""
    try:
        app()
    except BrokenPipeError:  # the reader of our output went away
        sys.stderr.close()
        sys.exit(1)
