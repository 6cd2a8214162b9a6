"""The registry of doubts: what can make a figure less than certain, in plain words.

One place serves code, JSON, command line, page and docs. A doubt does not stop a measurement; what stops one is a
`finishlab.errors.QualityError`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final


@dataclass(frozen=True, slots=True)
class DoubtKind:
    """One kind of doubt: its code, a short title and the sentence to show, with `{}` places for figures."""

    code: str
    title: str
    sentence: str


_KINDS = (
    # The strip
    DoubtKind(
        "strip-partly-hidden",
        "strip partly hidden",
        "Only {seen} of {total} tags of the strip were seen; leave the whole strip free to be surer.",
    ),
    DoubtKind(
        "strip-not-flat",
        "strip not flat",
        "The strip is bent by about {bend_mm:.1f} mm; lay it flat and press it against the board.",
    ),
    DoubtKind(
        "strip-small",
        "strip small in the photo",
        "The strip is only {pixels:.0f} pixels long in this photo; go nearer to be surer.",
    ),
    DoubtKind(
        "two-strips",
        "another strip in the photo",
        "Another strip lies in the photo; what lies beside the wrong one would be measured: keep one strip in view.",
    ),
    DoubtKind(
        "strip-number-unread",
        "strip number not read",
        "The strip's number could not be read, so this photo cannot be tied to one print of the strip.",
    ),
    DoubtKind(
        "steep-view",
        "steep view",
        "The camera looked at the strip from {tilt:.0f} degrees off straight above; hold it more level.",
    ),
    # Light and tone
    DoubtKind(
        "uneven-light",
        "uneven light",
        "The light changes by {percent:.0f} % across the field; turn the work so that the light is even.",
    ),
    DoubtKind(
        "light-model-poor",
        "light or tone not smooth",
        "The greys of the strip disagree by {percent:.1f} % more than they should; a shadow or the phone's own "
        "local brightening may be at work.",
    ),
    DoubtKind(
        "local-tone",
        "brightness evened out from place to place",
        "The phone seems to have brightened dark parts of the picture and darkened bright ones, by {percent:.0f} % or "
        "more; differences between light and dark surfaces come out too small, so turn HDR and scene modes off.",
    ),
    DoubtKind(
        "clipped",
        "too bright in places",
        "{percent:.1f} % of the field is at the brightest value the photo can hold; expose a little less.",
    ),
    DoubtKind(
        "colour-lost",
        "a colour lost in places",
        "In {percent:.1f} % of the field the photo holds no {channel} at all, which makes the colour unsure; "
        "use a whiter light or expose longer.",
    ),
    DoubtKind(
        "dark-photo",
        "dark photo",
        "The photo is dark: the strip's paper reaches only {percent:.0f} % of full brightness.",
    ),
    DoubtKind(
        "blurred",
        "blurred",
        "The photo is blurred by about {blur_mm:.1f} mm; the mean still holds, the grain does not.",
    ),
    # The surface
    DoubtKind(
        "glare",
        "glare",
        "{percent:.0f} % of the surface mirrors the light and was left out; turn the work or the light.",
    ),
    DoubtKind(
        "surface-small",
        "little surface",
        "Only {percent:.0f} % of the field could be used; lay the board flush with the strip and clear the field.",
    ),
    DoubtKind("seam", "seam in the field", "A seam between planks crosses the field; it was left out."),
    DoubtKind(
        "knot", "knot in the field", "A knot or another odd spot takes {percent:.0f} % of the surface; it was left out."
    ),
    DoubtKind("shadow", "shadow on the surface", "A shadow lies on {percent:.0f} % of the surface; it was left out."),
    DoubtKind(
        "other-surface",
        "something else in the field",
        "{percent:.0f} % of the field is another surface (bench, hand, gap) and was left out.",
    ),
    DoubtKind(
        "not-like-wood",
        "hardly a wood's colour",
        "The colour found in the board field (chroma {chroma:.0f}, hue {hue:.0f} degrees) is hardly a wood's: see that "
        "the board lies there.",
    ),
    DoubtKind(
        "grain-directions-differ",
        "grain crossed",
        "The grain of board and floor runs {angle:.0f} degrees apart; wood looks lighter along one way than along the "
        "other, so lay the board with its grain along the floor's.",
    ),
    DoubtKind("field-cut", "field cut by the photo", "{percent:.0f} % of the field lies outside the photo."),
    DoubtKind(
        "outside-greys",
        "colour outside the greys",
        "The surface is darker or lighter than the strip's greys, so its colour is an extrapolation.",
    ),
    DoubtKind(
        "no-strip-used",
        "no strip",
        "Measured without the strip, from {greys} grey area(s): light and tone are corrected less well.",
    ),
    DoubtKind(
        "one-grey",
        "one grey only",
        "One grey fixes brightness and white balance but not the phone's tone curve; several greys do better.",
    ),
    # The photo file
    DoubtKind("no-profile", "no colour profile", "The file carries no colour profile; sRGB was assumed."),
    DoubtKind(
        "coarse-jpeg",
        "saved at low quality",
        "The photo was saved at low quality, which rounds its colours; use the photo as the camera saved it.",
    ),
    DoubtKind(
        "no-camera", "no camera data", "The file does not say which camera made it (a screenshot or a forwarded copy?)."
    ),
    DoubtKind(
        "gain-map",
        "HDR gain map",
        "The file carries a gain map for HDR screens; the ordinary picture in it was measured, without the map.",
    ),
    DoubtKind(
        "panorama",
        "panorama",
        "The photo is a panorama or was cut to a long strip; a stitched picture may be bent and its light uneven.",
    ),
    DoubtKind("greyscale", "greyscale photo", "The photo has no colour; only lightness can be measured."),
    # Comparisons
    DoubtKind(
        "strips-differ",
        "different strips",
        "Floor and board were photographed beside different strips ({floor} and {board}), whose greys may differ; "
        "use one strip for one project, or measure the greys of both (finishlab strip learn).",
    ),
    DoubtKind(
        "print-not-learned",
        "print of the strip not learned",
        "The strip's print was never learned, and {percent:.0f} % of the interval comes from not knowing it: step back "
        "two or three steps, take one photo of the strip, and run finishlab strip learn PHOTO.",
    ),
    DoubtKind(
        "trial-far-off",
        "trial far off",
        "The trial came out {ratio:.1f} times as far off as expected: see that its photos show the same board with "
        "nothing over it, even light and no glare, or take it out (finishlab trial remove).",
    ),
    DoubtKind(
        "greys-differ",
        "greys of the strip known differently",
        "Floor and board were measured with different knowledge of the greys of strip {strip}: one before, one after "
        "they were learned; re-measure the older photos (finishlab remeasure).",
    ),
    DoubtKind(
        "lights-differ",
        "different lights",
        "Floor and board were photographed in different lights ({floor} and {board}).",
    ),
    DoubtKind(
        "profiles-differ",
        "different camera profiles",
        "Floor and board were measured with different camera profiles ({floor}; {board}); learn the camera first and "
        "measure both with it.",
    ),
    DoubtKind(
        "one-light",
        "one light only",
        "All photos were taken in one light ({light}); photograph floor and boards in a second, "
        "very different one too.",
    ),
    DoubtKind(
        "spots-disagree",
        "floor spots far apart",
        "The floor's spots scatter by dE00 {spread:.1f}, which no floor of one kind does; {spot} lies farthest out: "
        "see that it shows the floor.",
    ),
    DoubtKind(
        "floor-in-doubt",
        "what lies beside the board may not be the floor",
        "What lies at the strip's floor edge {reason}; this pair is left out of the ranking until it is confirmed.",
    ),
    DoubtKind(
        "light-in-doubt",
        "photo as warm as by lamp light",
        "This photo is {percent:.0f} % redder against blue than photos in {light} are, as by a lamp: if one was on, "
        "log it in that light.",
    ),
    DoubtKind(
        "pair-floor-differs",
        "other floor beside the board",
        "What lay at the strip's floor edge beside this board is dE00 {off:.0f} from the floor's spots: see that the "
        "photo shows the floor there.",
    ),
    DoubtKind(
        "few-spots",
        "few floor spots",
        "Too few places of the floor were measured (so far: {spots}); five planks or more show its own spread.",
    ),
    DoubtKind(
        "not-topcoated",
        "no topcoat yet",
        "The board has no topcoat on record; its colour will change under one, so no verdict can rest on it: put the "
        "topcoat on, let it dry and measure it again.",
    ),
    DoubtKind(
        "board-bare",
        "bare board",
        "The board is bare wood; any finish makes it darker and richer, so no verdict can rest on it: finish it as the "
        "treads will be finished and measure it again.",
    ),
    DoubtKind(
        "board-wet",
        "board not dry",
        "The board was still wet or damp; its colour changes as it dries, so no verdict can rest on it: measure it "
        "again once the label's drying time is over.",
    ),
    DoubtKind(
        "sheen-differs",
        "different sheen",
        "Board and floor differ in sheen (about {board} and {floor} gloss units at 60 degrees); eyes take that for a "
        "difference in colour, so put the floor's sheen on a board before deciding.",
    ),
    DoubtKind(
        "grit-differs",
        "sanded otherwise than the treads",
        "The board was last sanded with grit {board}, the treads with {treads}; a finer grit takes less stain and "
        "comes out lighter, so sand a board as the treads are sanded.",
    ),
    DoubtKind(
        "floor-wet",
        "floor not dry",
        "The floor was wet or damp where it was photographed ({spots}): wipe it dry and photograph it again.",
    ),
    DoubtKind(
        "floor-covered",
        "floor that lay covered",
        "The floor had lain under a rug or furniture where it was photographed ({spots}), so it may not have aged as "
        "the rest: photograph planks in the open, near the stair.",
    ),
    DoubtKind(
        "far-dates",
        "photos far apart in time",
        "Floor and board were photographed {days} days apart; wood and floors change with time and light, so "
        "photograph both again on one day.",
    ),
    DoubtKind(
        "not-reachable",
        "not reachable by stain",
        "The aim is lighter than the clear-only board {board} by {by:.1f} L*; stain only darkens, so no stain on this "
        "wood gets there: take a lighter wood, bleach a test board first, or aim at a contrast.",
    ),
    # Two lights
    DoubtKind(
        "moves-between-lights",
        "moves from light to light",
        "From {light} to {other} its difference from the floor moves by {move:.1f}, from dE00 {before:.1f} to "
        "{after:.1f}{sure}: look at board and floor together under both before deciding.",
    ),
    DoubtKind(
        "order-flips",
        "order turns in another light",
        "{first} comes closer to the floor than {second} in {light}, and the other way round in {other}: decide by the "
        "light in which the stair is seen most, or take the board that is best in its worst light ({best}).",
    ),
)

DOUBTS: Final[dict[str, DoubtKind]] = {kind.code: kind for kind in _KINDS}


@dataclass(frozen=True, slots=True)
class Doubt:
    """A doubt about one result: the code of its kind and the figures its sentence needs."""

    code: str
    figures: dict[str, float | int | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.code not in DOUBTS:
            raise ValueError(f"unknown doubt {self.code!r}")

    @property
    def title(self) -> str:
        """The short form, for a table cell."""
        return DOUBTS[self.code].title

    @property
    def message(self) -> str:
        """The whole sentence, with this result's figures in it."""
        return DOUBTS[self.code].sentence.format(**self.figures)

    def as_dict(self) -> dict[str, object]:
        """Return the JSON form: code, message and figures."""
        return {"code": self.code, "message": self.message, "figures": dict(self.figures)}

    @classmethod
    def from_dict(cls, data: dict[str, object]) -> Doubt:
        """Rebuild a doubt from `as_dict`; raises what formatting raises if its sentence cannot be said."""
        figures = data.get("figures", {})
        if not isinstance(figures, dict):
            raise TypeError("figures must be a mapping")
        found = cls(str(data["code"]), figures)
        _ = found.message
        return found


def doubt(code: str, **figures: float | str) -> Doubt:
    """Return the doubt `code` with its figures."""
    return Doubt(code, figures)
