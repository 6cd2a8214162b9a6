"""``finishlab camera``: how the shop's cameras see colours."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from finishlab.board.shown import profile_line
from finishlab.cli.common import (
    grey_option,
    json_option,
    open_logbook,
    parsed,
    print_results,
    say,
    show_document,
    with_learned,
)
from finishlab.cli.lazy import LazyGroup, logged
from finishlab.errors import LogbookError, UsageError
from finishlab.measure.areas import GreyArea, KnownColour
from finishlab.measuring import MeasureOptions
from finishlab.record import normalise_light, today
from finishlab.show.document import Document, Line

if TYPE_CHECKING:
    from finishlab.colorimetry.camera_profile import CameraProfile
    from finishlab.logbook.store import Logbook
    from finishlab.measure.camera_learning import LearnedProfile


@click.group(cls=LazyGroup)
def camera() -> None:
    """Teach finishlab how a camera sees colours, with a 24-patch chart.

    Learn again for every light and after an update of the phone; later photos of that camera logged in that light use
    it by themselves, and say so.
    """


def _corner(text: str) -> tuple[float, float]:
    x, _, y = text.partition(",")
    try:
        return float(x), float(y)
    except ValueError:
        raise UsageError("bad-corner", f"“{text}” is not a corner.", "Write X,Y in pixels, e.g. 812,640.") from None


@camera.has(
    "learn",
    "Learn a camera from a photo of a 24-patch chart.",
    "finishlab camera learn chart.jpg",
    'finishlab camera learn chart.jpg --light "evening lamp" --edition 2005',
    "finishlab camera learn chart.jpg --corners 812,640 1610,655 1598,1190 800,1170",
)
@click.argument("photo", type=click.Path(readable=False), metavar="PHOTO")
@click.option("--light", metavar="TEXT", help="The light it was taken in. [default: daylight]")
@click.option("--edition", metavar="NAME", help="Edition of the chart, by its years. [default: from November 2014]")
@click.option(
    "--corners",
    nargs=4,
    metavar="X,Y X,Y X,Y X,Y",
    callback=parsed(_corner),
    help="Outer corners of the dark skin, bluish green, black and white patches, pixels of the upright photo.",
)
@grey_option("With other patches than a chart's: pixels of a grey of known lightness L*; several make a ramp.")
@click.option(
    "--patch",
    "patches",
    metavar="X,Y,W,H:L,A,B",
    callback=parsed(KnownColour.parse),
    multiple=True,
    help="Pixels of a patch of known colour, CIELAB D65; eight or more, the greys may be among them.",
)
@json_option
def learn(
    *,
    photo: str,
    light: str | None,
    edition: str | None,
    corners: tuple[tuple[float, float], ...] | None,
    greys: tuple[GreyArea, ...],
    patches: tuple[KnownColour, ...],
    as_json: bool,
) -> None:
    """Learn a camera from a photo of a 24-patch chart, and keep it in the logbook.

    Lay the chart flat beside the strip, in the light of the job, without glare: the chart's greys then teach the
    strip's own greys too, which does most for the difference of two surfaces. A profile holds for one camera and one
    light. Editions of the chart differ by about 1 dE00, so name yours; the name is kept with every result. Patches of
    another kind can be named by hand, with greys that tell tone and white.
    """
    if bool(greys) != bool(patches) or (patches and (corners or edition)):
        raise UsageError(
            "patches-and-greys",
            "Patches named by hand take --grey and --patch, and no chart.",
            "Name both, without --edition and --corners; or neither, for a 24-patch chart.",
        )
    from finishlab.measuring.logged import keep_original

    if patches:
        found = _learned_by_hand(Path(photo), greys, patches, light)
    else:
        found = _learned(Path(photo), light, edition, corners)
    with open_logbook(make=True) as log:
        # The profile takes the place of an earlier one of that camera and light.
        keep_original(log, photo, found.profile.photo_id)
        log.add_camera_profile(found.profile)
        if found.greys is not None:
            log.learn_strip(found.greys.greys)
    if as_json:
        show_document(_document([found.profile]), as_json=True)
    else:
        print_results(f"{found.profile.camera} in {found.profile.light}")
    _tell(found)


def _learned(
    path: Path, light: str | None, edition: str | None, corners: Sequence[tuple[float, float]] | None
) -> LearnedProfile:
    """Learn from a chart; strips whose greys were read with an instrument are used, others are learned anew."""
    from finishlab.colorimetry.spaces import DEFAULT_EDITION
    from finishlab.measure.camera_learning import learn_profile
    from finishlab.measuring.logged import photo_day
    from finishlab.photos import read_photo

    known = {each.number: each for each in with_learned(MeasureOptions(), light).strip_greys}
    return learn_profile(
        read_photo(path),
        light=normalise_light(light),
        edition=edition or DEFAULT_EDITION,
        corners=corners or None,
        date=photo_day(path) or today(),
        greys=known.get,
        learned=dt.datetime.now(tz=dt.UTC).isoformat(timespec="seconds"),
    )


def _learned_by_hand(
    path: Path, greys: Sequence[GreyArea], patches: Sequence[KnownColour], light: str | None
) -> LearnedProfile:
    """Learn from patches of known colour that are named by hand."""
    from finishlab.measure.camera_learning import LearnedProfile, check_camera_named, learn_from_patches
    from finishlab.measuring.logged import photo_day
    from finishlab.photos import read_photo

    image = read_photo(path)
    check_camera_named(image)
    profile = learn_from_patches(
        image,
        greys,
        patches,
        light=normalise_light(light),
        chart=f"{len(patches)} patches named by hand",
        date=photo_day(path) or today(),
    )
    return LearnedProfile(profile)


def _tell(found: LearnedProfile) -> None:
    """Say what was learned, and what was not."""
    boost, sigma = found.profile.saturation
    say(profile_line(found.profile.summary()))
    say(f"The camera boosts saturation by {100 * (boost - 1):.0f} %, give or take {200 * sigma:.0f} (95 %).")
    if found.greys is not None:
        off = max(found.greys.misfit_before, key=abs)
        number = found.greys.greys.number
        say(f"The greys of strip {number:04d} are learned too: as a usual print they were up to {off:+.1f} L* off.")
    elif found.chart is None:
        say("Tone and light come from the greys named by hand; a chart beside the strip is surer.")
    elif found.strip is None:
        say("No strip in the photo: tone and light come from the chart's six greys alone; beside the strip is surer.")
    else:
        say("The greys of the strip stay as they were known.")
    for doubt in found.doubts:
        say(doubt.message)


@camera.has("list", "List the learned cameras.", "finishlab camera list")
@json_option
def list_cameras(*, as_json: bool) -> None:
    """List the learned cameras, each with its light."""
    with open_logbook() as log:
        profiles = log.camera_profiles()
    if not profiles and not as_json:
        say("No camera is learned yet. Learn one: finishlab camera learn PHOTO")
    lines = [
        f"{each.camera}  {each.light}  {each.kind}  off by {each.left_out.wood:.1f} dE00 on unseen colours near wood, "
        f"{each.left_out.mean:.1f} over all  {each.date}"
        for each in profiles
    ]
    show_document(_document(profiles, lines), as_json=as_json)


@camera.has(
    "show",
    "Show what was learned of a camera.",
    'finishlab camera show "Acme One"',
    'finishlab camera show "Acme One" --light "evening lamp" --json',
)
@click.argument("name", metavar="NAME", shell_complete=logged("camera"))
@click.option("--light", metavar="TEXT", help="Only in this light.")
@json_option
def show(*, name: str, light: str | None, as_json: bool) -> None:
    """Show what was learned of a camera."""
    with open_logbook() as log:
        found = _matching(log, name, light)
    show_document(_document(found, [line for each in found for line in _page(each)]), as_json=as_json)


@camera.has(
    "forget",
    "Use a camera's profile no longer; its history stays.",
    'finishlab camera forget "Acme One" --light "evening lamp"',
)
@click.argument("name", metavar="NAME", shell_complete=logged("camera"))
@click.option("--light", metavar="TEXT", help="Only in this light; else in every light.")
@json_option
def forget(*, name: str, light: str | None, as_json: bool) -> None:
    """Use a camera's profile no longer; what was measured with it stays as it is."""
    with open_logbook() as log:
        found = _matching(log, name, light)
        for each in found:
            log.forget_camera_profile(each.camera, each.light)
            say(f"The profile of {each.camera} in {each.light} is no longer used.")
    if as_json:
        show_document(_document(found), as_json=True)


def _document(profiles: Sequence[CameraProfile], lines: Sequence[str] = ()) -> Document:
    data = {"cameras": [each.as_dict() for each in profiles]}
    return Document("cameras", data, [Line(line, whole=True) for line in lines])


def _page(profile: CameraProfile) -> list[str]:
    """Return what was learned of a camera in one light."""
    from finishlab.colorimetry.spaces import chart_words

    boost, error = profile.saturation
    lines = [
        f"{profile.camera} in {profile.light}",
        f"  kind      {profile.kind}",
        f"  chart     {chart_words(profile.chart)}, photo {profile.photo_id}, {profile.date}",
        f"  boost     saturation x {boost:.3f}, standard error {error:.3f}",
    ]
    for patches, off in (("fitted", profile.fitted), ("left out", profile.left_out)):
        lines.append(f"  {patches:9} {off.wood:.2f} dE00 near wood, {off.mean:.2f} on average, {off.max:.2f} at most")
    for channel, row in zip("RGB", profile.coefficients, strict=True):
        lines.append(f"  {channel}         {' '.join(f'{value:7.3f}' for value in row)}")
    return lines


def _matching(log: Logbook, name: str, light: str | None = None) -> list[CameraProfile]:
    """Return the profiles of a camera, named as the list shows it, in one light or in all.

    Raises
    ------
    LogbookError
        ``"unknown-camera"``.
    """
    lit = None if light is None else normalise_light(light)
    wanted = " ".join(name.split()).casefold()
    kept = log.camera_profiles()
    found = [each for each in kept if each.camera.casefold() == wanted and lit in (None, each.light)]
    if not found:
        there = ", ".join(f"“{each.camera}” in {each.light}" for each in kept)
        hint = f"Learned: {there}." if there else "Learn one with: finishlab camera learn PHOTO"
        where = "" if lit is None else f" in the light “{lit}”"
        raise LogbookError("unknown-camera", f"The logbook has no profile of a camera “{name}”{where}.", hint)
    return found
