"""What several commands share: options, the logbook, output, progress, cautions; list, show and remove of each kind."""

from __future__ import annotations

import difflib
import functools
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING, Any, Final, TypeVar, cast

import click

from finishlab.cautions import AT_EVERY_COAT, CAUTIONS, cautions_for
from finishlab.cli.failures import heard, show_error, tell
from finishlab.cli.lazy import LazyGroup, command, logbook_folder
from finishlab.errors import LogbookError, UsageError
from finishlab.files import LOGBOOK_FILE
from finishlab.measure.areas import GreyArea, PixelPolygon, PixelRect, SurfaceArea
from finishlab.measuring import measure_photos, processors, worst_exit_code
from finishlab.record import Light, counted, normalise_light
from finishlab.show.document import Kind, Numbered, cautions_document
from finishlab.show.jsons import dump
from finishlab.show.terminal import render

if TYPE_CHECKING:
    from rich.console import Console

    from finishlab.cautions import Action
    from finishlab.logbook.store import Logbook
    from finishlab.logbook.stored import StoredBoard, StoredSpot
    from finishlab.measuring import MeasureOptions, PhotoResult
    from finishlab.show.document import Document


_ALIKE: Final = 0.75
"""Likeness of two names from which one may be a slip for the other (`difflib`'s ratio). This tool's own."""
Command = TypeVar("Command", bound=Callable[..., Any])
Said = TypeVar("Said")


def parsed(read: Callable[[str], object]) -> Callable[[click.Context, click.Parameter, Any], Any]:
    """Return what reads the text of an option, or each of several, for click's ``callback``; nothing stays nothing."""

    def value_of(ctx: click.Context, param: click.Parameter, value: tuple[str, ...] | str | None) -> Any:  # noqa: ANN401
        del ctx, param
        if isinstance(value, tuple):
            return tuple(map(read, value))
        return None if value is None else read(value)

    return value_of


class BeginningChoice(click.Choice[str]):
    """A choice that the beginning of one of its words is enough for: ``clear-only`` for ``clear-only control``."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:  # noqa: ANN401 - click's own
        """Return the word that is meant."""
        meant = [word for word in self.choices if str(word).startswith(str(value))]
        return super().convert(meant[0] if len(meant) == 1 else value, param, ctx)


def options(*each: Callable[[Any], Any]) -> Callable[[Command], Command]:
    """Return what adds options and arguments to a command, in the order of its help."""

    def added(command: Command) -> Command:
        return functools.reduce(lambda so_far, option: option(so_far), reversed(each), command)

    return added


_PHOTOS: Final = click.Path(readable=False)  # that one may not be read is told as any other fault of a photo
photos_argument = click.argument("photos", nargs=-1, required=True, type=_PHOTOS, metavar="PHOTO...")
json_option = click.option("--json", "as_json", is_flag=True, help="One JSON document on stdout.")


def grey_option(text: str) -> Callable[[Command], Command]:
    """Return what adds ``--grey`` with this help."""
    return click.option(
        "--grey", "greys", metavar="X,Y,W,H:L", callback=parsed(GreyArea.parse), multiple=True, help=text
    )


new_light_option = click.option(
    "--new-light", is_flag=True, help="The light is a new one, though named much like another."
)
confirm_floor_option = click.option(
    "--confirm-floor", is_flag=True, help="What lies at the floor edge is the floor, though it does not look so."
)


def area_options(command: Command) -> Command:
    """Add what takes the strip's place in a photo without one."""
    grey = grey_option("Without a strip: pixels of a grey of known lightness L*; several make a ramp.")
    area = click.option(
        "--area",
        metavar="X,Y,W,H",
        callback=parsed(PixelRect.parse),
        help="Without a strip: pixels of the surface to measure.",
    )
    polygon = click.option(
        "--polygon",
        metavar="X,Y,X,Y,...",
        callback=parsed(PixelPolygon.parse),
        help="The same by the corners of the surface, in order around it.",
    )

    @functools.wraps(command)
    def one_area(*args: object, area: PixelRect | None, polygon: PixelPolygon | None, **others: object) -> object:
        if area is not None and polygon is not None:
            raise UsageError("area-and-polygon", "The surface is named twice.", "Give --area or --polygon, not both.")
        either: SurfaceArea | None = area or polygon
        return command(*args, area=either, **others)

    return cast("Command", grey(area(polygon(one_area))))


@contextmanager
def open_logbook(*, make: bool = False) -> Iterator[Logbook]:
    """Open the logbook the user means.

    Parameters
    ----------
    make
        For a command that can be the first: the logbook is made where there is none. All others look up or change what
        was logged before, so a folder without a logbook is a mistyped one, and none is made.

    Raises
    ------
    LogbookError
        ``"logbook-empty"`` where nothing was ever logged, the same whether the folder is there or not.
    """
    from finishlab.logbook.store import Logbook

    folder = logbook_folder()
    with (Logbook.open(folder) if make else Logbook.open_existing(folder)) or nullcontext() as log:
        if log is None or (not make and log.is_empty()):
            raise LogbookError(
                "logbook-empty",
                f"Nothing is logged in {folder} yet.",
                "If it should be, check --logbook. Else begin with: finishlab start",
            )
        yield log


def said_in_logbook(read: Callable[[Logbook], Said], otherwise: Said, unsaid: str = "") -> Said:
    """Return what the user's logbook says of something that needs none, and makes none where there is none.

    One that cannot be read is told, as what is `unsaid` then, and stops nothing.
    """
    if not (logbook_folder() / LOGBOOK_FILE).is_file():
        return otherwise
    try:
        with open_logbook(make=True) as log:
            return read(log)
    except LogbookError as error:
        if unsaid:
            say(f"{unsaid}: {error.message}")
        return otherwise


def with_learned(how: MeasureOptions, light: str | None, *, profile: bool = True) -> MeasureOptions:
    """Return how to measure with what the user's logbook has learned."""
    unsaid = "Strips and cameras learned in the logbook are not used"
    return said_in_logbook(lambda log: how.with_calibration(log, light, profile=profile), how, unsaid)


def measure_all(photos: Sequence[str], how: MeasureOptions, picture: str | None = None) -> list[PhotoResult]:
    """Measure photos with all processors, with a bar on stderr when somebody can see it."""
    if heard() is not None or not sys.stderr.isatty():
        return measure_photos(photos, how, workers=processors(), picture=picture)
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("measuring"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True) as progress:
        bar = progress.add_task("photos", total=None, visible=False)
        return measure_photos(
            photos,
            how,
            workers=processors(),
            picture=picture,
            on_start=lambda count: progress.update(bar, total=count, visible=count > 1),
            on_done=lambda: progress.advance(bar),
        )


def report_failures(results: Sequence[PhotoResult]) -> int:
    """Say what is wrong with each photo that failed; return the worst exit code, 0 if all are good."""
    for result in results:
        if result.error is not None:
            show_error(result.error)
    return int(worst_exit_code(results))


def on_terminal() -> bool:
    """Return whether somebody can answer."""
    return heard() is None and sys.stdin.isatty()


def say(text: str) -> None:
    """Say something to whoever watches, on stderr."""
    tell(text)


def checked_light(log: Logbook, light: Light, *, new: bool) -> Light:
    """Return the light that is meant: a new one whose name is much like that of one there is may be a slip for it.

    Raises
    ------
    UsageError
        ``"near-light"`` where nobody can be asked.
    """
    known = list(log.lights_logged())
    near = [] if new or light in known else difflib.get_close_matches(light, known, 3, _ALIKE)
    if not near:
        return light
    told = f"“{light}” is a new light; logged so far: {', '.join(known)}. Photos are compared within one light only."
    if not on_terminal():
        raise UsageError("near-light", told, f"Name one of these with --light, or keep “{light}” with --new-light.")
    say(told)
    return normalise_light(click.prompt("Which light is it", default=near[0], err=True))


def say_undo() -> None:
    """Say how to take back what would be hard to do again by hand."""
    say("Take it back with: finishlab undo")


def say_letters(missing: str, more: str = "") -> None:
    """Say which letters stand as a question mark on paper, and what would help."""
    if missing:
        shown = ", ".join(f"“{letter}”" for letter in missing[:12]) + (" and others" if len(missing) > 12 else "")
        say(f"No font on this computer can print {shown}; they stand as “?” on the paper. {more}".strip())
        say(
            "  Install a TrueType font that has them, for example one for Chinese, Japanese or Korean, and print again."
        )


_COLUMNS: Final = 80


def out() -> Console:
    """Return the console of stdout."""
    from rich.console import Console

    console = Console(file=sys.stdout)
    # A terminal that says it has no columns is one that does not know.
    return console if console.width > 0 else Console(file=sys.stdout, width=_COLUMNS)


def print_document(document: Mapping[str, Any]) -> None:
    """Print a JSON document and nothing else; each says what its colours are."""
    from finishlab.colorimetry.estimate import COLOUR_SPACE

    head = {"format": document["format"], "colour_space": COLOUR_SPACE}
    print_results(dump({**head, **document}).removesuffix("\n"))


def print_results(text: str) -> None:
    """Print results that are no document, on stdout: numbers given, files written."""
    if (listener := heard()) is not None:
        listener.results += text.split("\n")
    else:
        click.echo(text)


def show_document(document: Document, *, as_json: bool) -> None:
    """Show a document to people, or print its JSON form."""
    listener = heard()
    if listener is not None and not as_json:
        listener.documents.append(document)
    elif as_json:
        print_document(document.json_form())
    else:
        render(out(), document)


def print_removed(what: Sequence[str]) -> None:
    """Print ``finishlab/removed/1``: what was left out from now on, by number or code."""
    print_document({"format": "finishlab/removed/1", "removed": list(what)})


def changes_given(**values: object) -> dict[str, Any]:
    """Return the options that were given.

    Raises
    ------
    UsageError
        ``nothing-to-change`` if none was.
    """
    given = {name: value for name, value in values.items() if value is not None}
    if not given:
        raise UsageError("nothing-to-change", "No change is named.", "Name at least one field, see --help.")
    return given


def untouched(results: Sequence[PhotoResult]) -> str:
    """Return that nothing was logged, and because of how many photos."""
    failed = sum(result.error is not None for result in results)
    if len(results) == 1:
        return "Nothing was logged."
    return f"Nothing was logged, because {failed} of {len(results)} photos failed; leave those out to log the others."


def doubt_lines(results: Sequence[PhotoResult]) -> list[str]:
    """Return each doubt once, with the photos it is about; a photo is easily taken again while the light is there."""
    about: dict[str, list[str]] = {}
    for result in results:
        for found in result.measurement.fields.values() if result.measurement is not None else ():
            for doubt in found.doubts:
                named = about.setdefault(doubt.message, [])
                if result.path not in named:
                    named.append(result.path)
    several = len(results) > 1
    return [f"  - {', '.join(paths) + ': ' if several else ''}{message}" for message, paths in about.items()]


def colour_words(lab: tuple[float, float, float] | None) -> str:
    """Return a colour for the end of a line; nothing while it is not measured."""
    return "" if lab is None else ", L* {:.1f} a* {:.1f} b* {:.1f}".format(*(round(v, 1) + 0.0 for v in lab))


def photos_words(each: StoredBoard | StoredSpot) -> str:
    """Return how many photos show a thing, and in which lights."""
    count = len(each.measurements)
    lights = ", ".join(dict.fromkeys(m.light for m in each.measurements)) or each.record.light
    return f"{counted(count, 'photo')} in {lights}"


Stored = TypeVar("Stored", bound=Numbered)

light_option = click.option("--light", metavar="TEXT", help="Only what was taken in this light.")


def offer_list(
    group: LazyGroup, kind: Kind[Any, Any], line: str, *, words: str | None = None, by_light: bool = False
) -> None:
    """Give a group the command that lists a kind of thing; `by_light` for what was photographed."""

    def listed(*, as_json: bool, light: str | None = None) -> None:
        with open_logbook() as log:
            rows = kind.read(log, light)
        show_document(kind.document(rows, kind.listing(rows)), as_json=as_json)

    example = f"finishlab {kind.command} list{' --light daylight' if by_light else ''}"
    found = json_option(listed)
    group.has("list", line, example, words=words or line)(light_option(found) if by_light else found)


def offer_show(group: LazyGroup, kind: Kind[Any, Any], line: str, *, words: str | None = None) -> None:
    """Give a group the command that shows all that is told of one thing."""

    def show(*, number: str, as_json: bool) -> None:
        with open_logbook() as log:
            row = kind.row(log, kind.find(log, number))
            document = kind.document([row], kind.page(log, row))
        show_document(document, as_json=as_json)

    first = f"{kind.letter}1"
    found = click.argument("number", metavar=first)(json_option(show))
    group.has("show", line, f"finishlab {kind.command} show {first}", words=words or line)(found)


def offer_remove(
    group: LazyGroup,
    kind: Kind[Any, Any],
    line: str,
    *,
    example: str,
    words: str | None = None,
    kept: str = "its history stays",
    then: Callable[[Logbook, Sequence[Any]], None] | None = None,
) -> None:
    """Give a group the command that leaves things out from now on.

    Parameters
    ----------
    group, kind, line
        Whose, of what, and its line in the group's help.
    example
        A number for the example.
    words
        Its help, where that is not the line.
    kept
        What is not lost.
    then
        What is to be said once they are removed, as they were stored.
    """

    def remove(*, numbers: tuple[str, ...], as_json: bool) -> None:
        with open_logbook() as log:
            found = {each.number: each for each in (kind.find(log, number) for number in numbers)}
            log.remove(*found)
            for number in found:
                say(f"{number} is removed; {kept}.")
            say_undo()
            if as_json:
                print_removed(list(found))
            if then is not None:
                then(log, list(found.values()))

    found = click.argument("numbers", metavar=f"{kind.letter}1...", nargs=-1, required=True)(json_option(remove))
    group.has("remove", line, f"finishlab {kind.command} remove {example}", words=words or line)(found)


def print_logged(
    kind: Kind[Stored, Any], log: Logbook, stored: Sequence[Stored], *, as_json: bool, changed: bool = False
) -> None:
    """Print the numbers of what was just logged, nothing of what was only `changed`; with ``--json`` the things."""
    if as_json:
        show_document(kind.document([kind.row(log, each) for each in stored]), as_json=True)
    elif not changed:
        print_results("\n".join(each.number for each in stored))


def due_cautions(
    log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",), *, at_coat: bool = False
) -> list[str]:
    """Return what products and work call for and was not said today, a line each; the logbook takes it as said.

    Parameters
    ----------
    log
        The open logbook, which remembers the day.
    products
        Names as people write them, one text a product; None is left out.
    actions
        What is done.
    at_coat
        Whether a coat was given just now: then what holds for each coat is said again.
    """
    codes = [caution.code for caution in cautions_for(products, actions)]
    new = set(log.cautions_due(codes)) if codes else set()
    return [CAUTIONS[code].spoken for code in codes if code in new or (at_coat and code in AT_EVERY_COAT)]


def say_cautions(
    log: Logbook, products: Iterable[str | None], actions: Iterable[Action] = ("apply",), *, at_coat: bool = False
) -> None:
    """Say on stderr what `due_cautions` returns."""
    for line in due_cautions(log, products, actions, at_coat=at_coat):
        say(line)


@command("finishlab cautions", "finishlab cautions --json")
@json_option
def cautions(*, as_json: bool) -> None:
    """Show every caution with its source: rags, vapour, dust, lead, asbestos, blocked stairs ..."""
    show_document(cautions_document(CAUTIONS.values()), as_json=as_json)
