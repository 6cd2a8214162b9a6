"""``finishlab camera``: how the shop's cameras see colours."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from finishlab.cli.common import grey_option, json_option, open_logbook, print_document, say, with_learned
from finishlab.cli.lazy import ExampleCommand, LazyGroup
from finishlab.errors import UsageError
from finishlab.measure.areas import GreyArea, KnownColour

if TYPE_CHECKING:
    from finishlab.measure.camera_learning import LearnedProfile

_COMMANDS: Mapping[str, tuple[str, str]] = {
    "learn": ("finishlab.things.camera:learn", "Learn a camera from a photo of a 24-patch chart."),
    "list": ("finishlab.things.camera:list_cameras", "List the learned cameras."),
    "show": ("finishlab.things.camera:show", "Show what was learned of a camera."),
    "forget": ("finishlab.things.camera:forget", "Use a camera's profile no longer; its history stays."),
}


@click.group(cls=LazyGroup, lazy=_COMMANDS, short_help="Teach finishlab how a camera sees colours, with a chart.")
def camera() -> None:
    """Teach finishlab how a camera sees colours, with a 24-patch chart.

    Learn again for every light and after an update of the phone; later photos of that camera logged in that light use
    it by themselves, and say so.
    """


def _corners(ctx: click.Context, param: click.Parameter, value: tuple[str, ...] | None) -> list[tuple[float, float]]:
    del ctx, param
    out = []
    for text in value or ():
        x, _, y = text.partition(",")
        try:
            out.append((float(x), float(y)))
        except ValueError:
            raise UsageError("bad-corner", f"“{text}” is not a corner.", "Write X,Y in pixels, e.g. 812,640.") from None
    return out


def _patches(ctx: click.Context, param: click.Parameter, value: tuple[str, ...]) -> tuple[KnownColour, ...]:
    del ctx, param
    return tuple(KnownColour.parse(text) for text in value)


@click.command(
    cls=ExampleCommand,
    short_help="Learn a camera from a photo of a 24-patch chart.",
    examples=(
        "finishlab camera learn chart.jpg",
        'finishlab camera learn chart.jpg --light "evening lamp" --edition "ColorChecker 2005"',
        "finishlab camera learn chart.jpg --corners 812,640 1610,655 1598,1190 800,1170",
    ),
)
@click.argument("photo", type=click.Path(), metavar="PHOTO")
@click.option("--light", metavar="TEXT", help="The light it was taken in. [default: daylight]")
@click.option("--edition", metavar="NAME", help="Edition of the chart. [default: ColorChecker24 - After November 2014]")
@click.option(
    "--corners",
    nargs=4,
    metavar="X,Y X,Y X,Y X,Y",
    callback=_corners,
    help="Outer corners of the dark skin, bluish green, black and white patches, pixels of the upright photo.",
)
@grey_option("With other patches than a chart's: pixels of a grey of known lightness L*; several make a ramp.")
@click.option(
    "--patch",
    "patches",
    metavar="X,Y,W,H:L,A,B",
    callback=_patches,
    multiple=True,
    help="Pixels of a patch of known colour, CIELAB D65; eight or more, the greys may be among them.",
)
@json_option
def learn(
    *,
    photo: str,
    light: str | None,
    edition: str | None,
    corners: list[tuple[float, float]],
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
    from finishlab.workflow.batch import How
    from finishlab.workflow.cameras import keep_camera, learn_camera, learn_camera_by_hand

    known = with_learned(How(), light).strip_greys
    if patches:
        found = learn_camera_by_hand(photo, greys, patches, light=light)
    else:
        found = learn_camera(photo, light=light, edition=edition, corners=corners or None, strip_greys=known)
    with open_logbook(make=True) as log:
        keep_camera(log, Path(photo), found)
    if as_json:
        _print([found.profile.as_dict()])
    else:
        click.echo(f"{found.profile.camera} in {found.profile.light}")
    _tell(found)


def _tell(found: LearnedProfile) -> None:
    """Say what was learned, and what was not."""
    from finishlab.reports.sentences import profile_line

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


@click.command("list", cls=ExampleCommand, short_help="List the learned cameras.", examples=("finishlab camera list",))
@json_option
def list_cameras(*, as_json: bool) -> None:
    """List the learned cameras, each with its light."""
    with open_logbook() as log:
        profiles = log.camera_profiles()
    if as_json:
        _print([each.as_dict() for each in profiles])
        return
    if not profiles:
        say("No camera is learned yet. Learn one: finishlab camera learn PHOTO")
    for each in profiles:
        click.echo(
            f"{each.camera}  {each.light}  {each.kind}  "
            f"off by {each.left_out.wood:.1f} dE00 on unseen colours near wood, {each.left_out.mean:.1f} over all  "
            f"{each.date}"
        )


@click.command(
    cls=ExampleCommand,
    short_help="Show what was learned of a camera.",
    examples=('finishlab camera show "Acme One"', 'finishlab camera show "Acme One" --light "evening lamp" --json'),
)
@click.argument("name", metavar="NAME")
@click.option("--light", metavar="TEXT", help="Only in this light.")
@json_option
def show(*, name: str, light: str | None, as_json: bool) -> None:
    """Show what was learned of a camera."""
    from finishlab.workflow.cameras import matching_profiles

    with open_logbook() as log:
        found = matching_profiles(log, name, light)
    if as_json:
        _print([each.as_dict() for each in found])
        return
    for each in found:
        click.echo(f"{each.camera} in {each.light}")
        click.echo(f"  kind      {each.kind}")
        click.echo(f"  chart     {each.chart}, photo {each.photo_id}, {each.date}")
        click.echo(f"  boost     saturation x {each.saturation[0]:.3f}, standard error {each.saturation[1]:.3f}")
        for patches, off in (("fitted", each.fitted), ("left out", each.left_out)):
            click.echo(f"  {patches:9} {off.wood:.2f} dE00 near wood, {off.mean:.2f} on average, {off.max:.2f} at most")
        for channel, row in zip("RGB", each.coefficients, strict=True):
            click.echo(f"  {channel}         {' '.join(f'{value:7.3f}' for value in row)}")


@click.command(
    cls=ExampleCommand,
    short_help="Use a camera's profile no longer; its history stays.",
    examples=('finishlab camera forget "Acme One" --light "evening lamp"',),
)
@click.argument("name", metavar="NAME")
@click.option("--light", metavar="TEXT", help="Only in this light; else in every light.")
@json_option
def forget(*, name: str, light: str | None, as_json: bool) -> None:
    """Use a camera's profile no longer; what was measured with it stays as it is."""
    from finishlab.workflow.cameras import matching_profiles

    with open_logbook() as log:
        found = matching_profiles(log, name, light)
        for each in found:
            log.forget_camera_profile(each.camera, each.light)
            say(f"The profile of {each.camera} in {each.light} is no longer used.")
    if as_json:
        _print([each.as_dict() for each in found])


def _print(profiles: list[dict[str, Any]]) -> None:
    from finishlab.reports.documents import cameras_document

    print_document(cameras_document(profiles))
